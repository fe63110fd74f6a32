// Comforts of the online log: a stopwatch beside each bucket, a pad for a mark. The page works without them.
import { stopwatch } from "./stopwatch.js";
import { pad } from "./mark.js";

const words = document.documentElement.lang.startsWith("fr")
  ? { start: "Démarrer le chronomètre", stop: "Arrêter", clear: "Effacer" }
  : document.documentElement.lang.startsWith("sw")
    ? { start: "Anzisha saa", stop: "Simamisha", clear: "Futa" }
    : { start: "Start the watch", stop: "Stop", clear: "Clear" };

for (const row of document.querySelectorAll("[data-stopwatch]")) {
  const seconds = row.querySelector(`[name="${row.dataset.stopwatch}"]`);
  row.append(stopwatch(words, (s) => {
    seconds.value = s.toFixed(1);
    seconds.dispatchEvent(new Event("input", { bubbles: true }));
  }));
}

for (const place of document.querySelectorAll("[data-mark]")) {
  const kept = place.querySelector("input[type=hidden]");
  place.append(pad(words, [], (lines) => (kept.value = lines.length ? JSON.stringify(lines) : "")));
}
