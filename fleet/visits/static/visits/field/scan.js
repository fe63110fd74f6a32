// Reading a label with the camera: by the browser itself where it can, else by our own reader. Where there is no camera
// the code is typed.
import { button, h, p } from "./dom.js";
import { t } from "./words.js";

const WIDEST = 640, EVERY_MS = 150, PATIENCE_MS = 60_000;

export const canScan = () => Boolean(navigator.mediaDevices?.getUserMedia);

// The short code in what a label says: the last part of its address, or the text itself.
export const codeOf = (text) => String(text).trim().split(/[/?#]/).filter(Boolean).pop()?.toUpperCase() || "";

export function scanner(found) {
  if (!canScan()) return null;
  const box = h("div", { class: "scan" });
  box.append(button(t("scan"), () => look(box, found), { class: "button" }));
  return box;
}

// A function that gives the text in a video's picture, or null.
async function reader() {
  const formats = await globalThis.BarcodeDetector?.getSupportedFormats?.().catch(() => []) ?? [];
  if (formats.includes("qr_code")) {
    const detector = new globalThis.BarcodeDetector({ formats: ["qr_code", "code_128", "code_39", "data_matrix"].filter((one) => formats.includes(one)) });
    return async (video) => (await detector.detect(video).catch(() => []))[0]?.rawValue ?? null;
  }
  const { readPicture } = await import("./qr.js");
  const canvas = document.createElement("canvas"), pen = canvas.getContext("2d", { willReadFrequently: true });
  return async (video) => {
    if (!video.videoWidth) return null;
    const share = Math.min(1, WIDEST / video.videoWidth);
    canvas.width = Math.round(video.videoWidth * share);
    canvas.height = Math.round(video.videoHeight * share);
    pen.drawImage(video, 0, 0, canvas.width, canvas.height);
    return readPicture(pen.getImageData(0, 0, canvas.width, canvas.height));
  };
}

async function look(box, found) {
  const press = box.querySelector("button");
  press.disabled = true;
  box.querySelector(".scan-said")?.remove();
  const say = (words) => box.append(p(words)) || box.lastChild.classList.add("scan-said", "hint");
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", width: { ideal: 1280 } } });
  } catch {
    press.disabled = false;
    return say(t("no_camera"));
  }
  const video = h("video", { class: "scan-view", muted: true, playsinline: true, autoplay: true, "aria-label": t("scan") });
  let over = false;
  const end = (words) => {
    over = true;
    stream.getTracks().forEach((track) => track.stop());
    video.remove();
    stop.remove();
    press.disabled = false;
    if (words) say(words);
  };
  const stop = button(t("scan_stop"), () => end());
  box.append(video, stop);
  video.srcObject = stream;
  await video.play().catch(() => {});
  const read = await reader(), until = Date.now() + PATIENCE_MS;
  while (!over && Date.now() < until) {
    if (!box.isConnected) return end(); // another screen
    const text = await read(video);
    if (text && !over) {
      end();
      navigator.vibrate?.(60);
      return found(codeOf(text));
    }
    await new Promise((next) => setTimeout(next, EVERY_MS));
  }
  if (!over) end(t("scan_nothing"));
}

// Two codes that differ in one character: a slip of the finger, as the check character tells.
export function oneApart(a, b) {
  return a.length === b.length && [...a].filter((c, i) => c !== b[i]).length === 1;
}

const SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*";

// Whether the last sign of a short code is the check sign of the rest, by ISO/IEC 7064, MOD 37,36.
export function checks(code) {
  const rest = [...code].slice(0, -1), values = rest.map((sign) => SIGNS.indexOf(sign));
  if (!rest.length || values.some((value) => value < 0 || value > 35)) return false;
  const carried = values.reduce((carry, value) => {
    const sum = (carry + value) % 36 || 36;
    return (2 * sum) % 37;
  }, 36);
  return SIGNS[(37 - carried) % 36] === code.at(-1);
}
