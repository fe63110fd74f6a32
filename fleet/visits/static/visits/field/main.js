// The log at the well. The address behind # says which screen; all that is shown is on the telephone itself.
import * as clock from "./clock.js";
import { all, get, isFull, onTrouble, put, stay } from "./db.js";
import { badge, button, h, link, notice, p } from "./dom.js";
import { bundleNow, homeScreen, lockScreen, signInScreen, waitingScreen } from "./home.js";
import { lockNow, reopen, signInKey, stayOpen } from "./lock.js";
import { holding } from "./outbox.js";
import { pack } from "./pack.js";
import { onSending, sending, start } from "./send.js";
import { stepScreen } from "./steps.js";
import { sunScreen } from "./sun.js";
import { findingScreen, leaveScreen, partScreen, visitScreen } from "./visit.js";
import { speak, t } from "./words.js";

const app = document.getElementById("app"), top = document.getElementById("top");
const STALE_MS = 4 * 3_600_000;
let screen = null, mine = true, trouble = "", update = null;

const go = (to) => {
  if (location.hash === to) return show();
  location.hash = to;
};

// One window writes; another one shows, and may take over.
function hold(steal = false) {
  if (!navigator.locks) return;
  navigator.locks.request("field-write", steal ? { steal: true } : { ifAvailable: true }, (lock) => {
    const was = mine;
    mine = Boolean(lock);
    if (was !== mine || !lock) show();
    return lock ? new Promise(() => {}) : undefined;
  }).catch(() => {
    mine = false; // another window took over
    show();
  });
}

async function head() {
  const { waiting, pictures, refused } = await holding();
  const n = waiting.length + pictures.length;
  top.replaceChildren(h("div", { class: "field-top-row" }, h("a", { class: "field-name", href: "#/" }, t("title")),
    h("a", { class: "field-state", href: "#/waiting" }, refused.length ? badge(t("refused_n", { n: refused.length }), "bad") : n ? badge(t("waiting", { n }), sending().trouble ? "watch" : "info") : badge(t("all_home"), "good")),
    signInKey() ? button(t("lock"), async () => { await lockNow(); show(); }, { class: "button button-plain" }) : null));
}

async function draw() {
  const bundle = await bundleNow();
  if (bundle) speak(bundle.words, bundle.person);
  const [, place, key, part, code] = location.hash.replace(/\?.*/, "").split("/");
  if (place === "sign-in") return signInScreen({ opened });
  if (!signInKey()) return lockScreen({ opened, bundle });
  if (place === "waiting") return waitingScreen({ refresh: show });
  if (place !== "visit") return homeScreen({ go, refresh: show, bundle });
  const row = await get("visits", key);
  if (!row) return h("section", {}, h("h1", {}, t("title")), notice("watch", p(t("visit_gone"))), link(t("home"), "#/"));
  row.cautions = bundle.cautions;
  const context = { go, writable: () => mine, others: await all("visits"), lists: bundle.lists };
  if (part === "step") return stepScreen(row, code, context);
  if (part === "sun") return sunScreen(row);
  if (part === "finding") return findingScreen(row, context);
  if (part === "part") return partScreen(row, context);
  if (part === "leave") return leaveScreen(row, context);
  return visitScreen(row, context);
}

let turn = 0;
async function show() {
  const own = ++turn, address = location.hash;
  await screen?.flush?.();
  const next = await draw().catch((fault) => h("section", {}, h("h1", {}, t("title")), notice("bad", p(t("fault")), p(h("code", {}, String(fault?.message || fault))))));
  if (own !== turn) return; // a newer one is on its way
  screen = next;
  const notes = [];
  if (trouble) notes.push(notice("bad", p(t(trouble))));
  if (!mine) notes.push(notice("watch", p(t("other_tab")), p(button(t("write_here"), () => hold(true)))));
  if (update) notes.push(notice("info", p(t("newer_app")), p(button(t("reload"), () => update.postMessage("take over")))));
  app.replaceChildren(...notes, screen);
  app.dataset.screen = address;
  app.querySelector("h1")?.focus({ preventScroll: true });
  scrollTo(0, 0);
  stayOpen();
  performance.mark("shown");
  head();
}

async function opened() {
  start();
  if (location.hash === "#/sign-in") location.hash = "#/";
  else show();
  refreshPack();
}

// Packed again by itself, where there is a network and what is packed has some age.
async function refreshPack() {
  const bundle = await bundleNow();
  if (!signInKey() || !navigator.onLine || (bundle && Date.now() - bundle.at < STALE_MS)) return;
  try {
    await pack();
    if (/^#?\/?$/.test(location.hash)) show();
  } catch {
    // without a network what was packed before stays
  }
}

function worker() {
  if (!navigator.serviceWorker) return;
  navigator.serviceWorker.register("/field-worker.js", { scope: "/field/" }).then((found) => {
    const waits = () => {
      // A new version waits until no visit is being written, or until it is asked for.
      if (found.waiting && navigator.serviceWorker.controller) {
        update = found.waiting;
        if (!/step|finding|part|leave/.test(location.hash)) show();
      }
    };
    waits();
    found.addEventListener("updatefound", () => found.installing?.addEventListener("statechange", waits));
  }).catch(() => {});
  let had = Boolean(navigator.serviceWorker.controller);
  navigator.serviceWorker.addEventListener("controllerchange", async () => {
    if (!had) return void (had = true);
    await screen?.flush?.();
    location.reload();
  });
}

async function begin() {
  speak(JSON.parse(document.getElementById("words").textContent));
  onTrouble((fault) => {
    trouble = !fault ? "" : isFull(fault) ? "disk_full" : "not_kept"; // null: this write went well
  });
  await clock.begin();
  hold();
  worker();
  if (!(await get("keep", "stays"))) put("keep", await stay(), "stays");
  const bundle = await bundleNow();
  if (bundle) speak(bundle.words, bundle.person);
  onSending(() => {
    head();
    if (location.hash === "#/waiting") show();
  });
  addEventListener("hashchange", show);
  addEventListener("pagehide", () => screen?.flush?.());
  addEventListener("online", refreshPack);
  for (const name of ["pointerdown", "keydown"]) addEventListener(name, stayOpen, { passive: true });
  if (await reopen()) return opened();
  return show();
}

begin();
