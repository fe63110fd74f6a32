// Reading a label with the camera, where the browser can; everywhere else the code is typed.
import { button, h, p } from "./dom.js";
import { t } from "./words.js";

export const canScan = () => "BarcodeDetector" in globalThis && Boolean(navigator.mediaDevices?.getUserMedia);

// The short code in what a label says: the last part of its address, or the text itself.
export const codeOf = (text) => String(text).trim().split(/[/?#]/).filter(Boolean).pop()?.toUpperCase() || "";

export function scanner(found) {
  if (!canScan()) return null;
  const box = h("div", { class: "scan" });
  box.append(button(t("scan"), () => look(box, found), { class: "button" }));
  return box;
}

async function look(box, found) {
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  } catch {
    box.append(p(t("no_camera")));
    return;
  }
  const video = h("video", { class: "scan-view", muted: true, playsinline: true, autoplay: true });
  const detector = new globalThis.BarcodeDetector({ formats: ["qr_code", "code_128", "code_39", "data_matrix"] });
  let over = false;
  const end = () => {
    over = true;
    stream.getTracks().forEach((track) => track.stop());
    video.remove();
    stop.remove();
  };
  const stop = button(t("scan_stop"), end);
  box.append(video, stop);
  video.srcObject = stream;
  await video.play().catch(() => {});
  const until = Date.now() + 60_000;
  while (!over && Date.now() < until) {
    const seen = await detector.detect(video).catch(() => []);
    if (seen.length) {
      end();
      found(codeOf(seen[0].rawValue));
      return;
    }
    await new Promise((next) => setTimeout(next, 150));
  }
  if (!over) end();
}

// Two codes that differ in one character: a slip of the finger, as the check character tells.
export function oneApart(a, b) {
  return a.length === b.length && [...a].filter((c, i) => c !== b[i]).length === 1;
}
