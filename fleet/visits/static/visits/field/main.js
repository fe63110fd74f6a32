// The log at the well. The address behind # says which screen; all that is shown is on the telephone itself.
import * as clock from "./clock.js";
import { all, askToStay, get, isFull, onTrouble } from "./db.js";
import { badge, button, h, link, notice, p } from "./dom.js";
import { bundleNow, homeScreen, offered, lockScreen, signInScreen, waitingScreen } from "./home.js";
import { lockNow, reopen, signInKey, stayOpen } from "./lock.js";
import { holding } from "./outbox.js";
import { pack } from "./pack.js";
import { layBy, lookAt } from "./reserve.js";
import { onSending, sending, start } from "./send.js";
import { stepScreen } from "./steps.js";
import { sunScreen } from "./sun.js";
import { findingScreen, leaveScreen, partScreen, visitScreen } from "./visit.js";
import { speak, t } from "./words.js";

const app = document.getElementById("app"), top = document.getElementById("top");
const STALE_MS = 4 * 3_600_000;
let screen = null, mine = true, trouble = "", thrown = false, update = null;

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

// What the storage refuses is told at the top of every screen, until a write goes well again.
const notes = h("div");
function drawNotes() {
  notes.replaceChildren(...[
    trouble ? notice("bad", p(t(trouble))) : null,
    thrown ? notice("watch", p(t("thrown_away"))) : null,
    mine ? null : notice("watch", p(t("other_tab")), p(button(t("write_here"), () => hold(true)))),
    update ? notice("info", p(t("newer_app")), p(button(t("reload"), () => update.postMessage("take over")))) : null,
  ].filter(Boolean));
}

const inWords = (fault) => (fault.reserve ? "disk_reserve" : isFull(fault) ? "disk_full" : "not_kept");
function tellTrouble(fault) {
  if (fault?.thrown) {
    thrown = true;
    return drawNotes();
  }
  const was = trouble;
  trouble = fault ? inWords(fault) : ""; // null: this write went well
  if (was !== trouble) drawNotes();
}

async function head() {
  const held = await holding().catch(() => null);
  if (!held) return; // the storage does not answer: what stands there stays
  const { waiting, pictures, refused } = held;
  const n = waiting.length + pictures.length;
  top.replaceChildren(h("div", { class: "field-top-row" }, h("a", { class: "field-name", href: "#/" }, t("title")),
    h("a", { class: "field-state", href: "#/waiting" }, refused.length ? badge(t("refused_n", { n: refused.length }), "bad") : n ? badge(t("waiting", { n }), ["", "network"].includes(sending().trouble) ? "info" : "watch") : badge(t("all_home"), "good")),
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

const atWork = (worker) => new Promise((done, fail) => {
  worker.addEventListener("statechange", () => {
    if (worker.state === "activated") done();
    if (worker.state === "redundant") fail(new Error("the pages could not be kept"));
  });
});

// What the browser threw away are also the pages of the log: they are fetched anew as soon as the server is there.
async function whole() {
  if (!thrown || sending().busy || sending().trouble) return;
  had = false; // the same pages come anew: nothing to load again under the writing hand
  const found = await navigator.serviceWorker?.register("/field-worker.js", { scope: "/field/" });
  const coming = found?.installing || found?.waiting;
  if (coming) await atWork(coming);
  else found?.active?.postMessage("fetch all");
  thrown = false;
  drawNotes();
}

let turn = 0;
async function show() {
  const own = ++turn, address = location.hash;
  await screen?.flush?.();
  const next = await draw().catch((fault) => {
    if (fault?.storage) setTimeout(() => own === turn && show(), 3000);
    return h("section", {}, h("h1", { tabindex: -1 }, t("title")), notice("bad", p(t(fault?.storage ? inWords(fault) : "fault")), p(h("code", {}, String(fault?.message || fault)))));
  });
  if (own !== turn) return; // a newer one is on its way
  screen = next;
  drawNotes();
  app.replaceChildren(notes, screen);
  app.dataset.screen = address;
  app.querySelector("h1")?.focus({ preventScroll: true });
  scrollTo(0, 0);
  stayOpen();
  performance.mark("shown");
  head();
}

async function opened() {
  start();
  layBy();
  if (location.hash === "#/sign-in") location.hash = "#/";
  else show();
  refreshPack();
}

// Packed again by itself, where there is a network and what is packed has some age.
async function refreshPack() {
  try {
    const bundle = await bundleNow();
    if (!signInKey() || !navigator.onLine || (bundle && Date.now() - bundle.at < STALE_MS)) return;
    await pack();
    navigator.serviceWorker?.register("/field-worker.js", { scope: "/field/" }).catch(() => {});
    if (/^#?\/?$/.test(location.hash)) show();
  } catch {
    // without a network what was packed before stays
  }
}

let had = false; // the worker that serves this page: only another one after it makes the page load anew

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
  had = Boolean(navigator.serviceWorker.controller);
  navigator.serviceWorker.addEventListener("controllerchange", async () => {
    // On a full disk the browser may throw the worker away: this page goes on, and must not be loaded anew without it.
    if (!navigator.serviceWorker.controller) return;
    if (!had) return void (had = true);
    await screen?.flush?.();
    location.reload();
  });
}

async function begin() {
  speak(JSON.parse(document.getElementById("words").textContent));
  onTrouble(tellTrouble);
  // Something done in passing that the storage refused: told like the rest. Faults of ours still show as such.
  addEventListener("unhandledrejection", (event) => {
    if (!event.reason?.storage) return;
    event.preventDefault();
    tellTrouble(event.reason);
  });
  await lookAt();
  await clock.begin();
  hold();
  worker();
  askToStay();
  const bundle = await bundleNow();
  if (bundle) speak(bundle.words, bundle.person);
  onSending(() => {
    head();
    whole().catch(() => {}); // the next sending tries again
    if (location.hash === "#/waiting") show();
  });
  addEventListener("hashchange", show);
  addEventListener("pagehide", () => screen?.flush?.());
  addEventListener("online", refreshPack);
  addEventListener("beforeinstallprompt", offered);
  for (const name of ["pointerdown", "keydown"]) addEventListener(name, stayOpen, { passive: true });
  if (await reopen()) return opened();
  return show();
}

// A storage that cannot even be opened, as on a full disk: said, and tried again.
begin().catch((fault) => {
  if (!fault?.storage) throw fault;
  app.replaceChildren(h("section", {}, h("h1", { tabindex: -1 }, t("title")), notice("bad", p(t(inWords(fault)))), p(button(t("try_again"), () => location.reload()))));
});
