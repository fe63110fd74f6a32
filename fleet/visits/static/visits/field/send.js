// Sending: small requests, each safe to repeat; what the server has is never sent again, what it refuses stays here.
import { all, change, get, remove, wipe } from "./db.js";
import { moment } from "./clock.js";
import { signInKey, forget } from "./lock.js";
import { APP, ask, device } from "./pack.js";
import { holding, mark } from "./outbox.js";

const PIECES = 20, TEXT = 24_000, LONGEST_WAIT = 60_000;
// A photo goes in parts as large as the line carries in a few seconds; after a failure small again.
const PART = 16_384, MOST_PART = 131_072, PART_MS = 6000;
// After a morning without signal many telephones come back at once: each waits a little of its own.
const strewn = (ms) => ms * (0.5 + Math.random());
const home = () => { state.wait = 1000; }; // the line carries: the next failure is waited out briefly again
const HOME = new Set(["kept", "taken", "left_out"]);
const listeners = new Set();
let state = { busy: false, trouble: "", lastHome: 0, wait: 2000 };
let timer = 0, again = false, patience = 0;

export const sending = () => state;
export function onSending(tell) {
  listeners.add(tell);
}
function tell(changes) {
  state = { ...state, ...changes };
  for (const listener of listeners) listener(state);
}

// Send soon; called after each record, when the network comes back, when the page is shown, and every now and then.
export function soon(delay = 300) {
  if (delay <= 300) patience = 0;
  clearTimeout(timer);
  timer = setTimeout(send, delay);
}

export async function send() {
  if (!signInKey()) return;
  if (state.busy) {
    again = true;
    return;
  }
  again = false;
  // One tab sends; another one that is open leaves it to the first, and looks again soon what is still here.
  const one = (lock) => (lock ? run() : soon(strewn(3000)));
  await (navigator.locks ? navigator.locks.request("field-send", { ifAvailable: true }, one) : run());
  if (again) soon();
}

async function run() {
  tell({ busy: true });
  try {
    await bringHome();
    tell({ busy: false, trouble: "", lastHome: Date.now(), wait: 2000 });
    const { waiting, pictures } = await holding();
    const held = (await all("pieces")).some((p) => p.state === "held");
    if (waiting.length) soon();
    else if (pictures.length || held) soon(strewn(Math.min(LONGEST_WAIT, 1500 * 2 ** patience++)));
    else patience = 0;
  } catch (trouble) {
    if (trouble.code === "shut_out") {
      // The telephone counts as lost: what was packed goes. Records that were not sent stay, locked.
      await wipe();
      await forget();
      tell({ busy: false, trouble: "shut_out" });
      return;
    }
    if (trouble.storage) tell({ busy: false });
    if (trouble.storage) return soon(strewn(LONGEST_WAIT / 4)); // told by the storage itself; the line is not to blame
    const busy = trouble.after > 0, wait = busy ? state.wait : Math.min(LONGEST_WAIT, state.wait * 2);
    if (!busy) part = PART;
    tell({ busy: false, trouble: trouble.status === 401 ? "sign_in" : trouble.status ? trouble.message || "server" : "network", wait });
    // A server that says when to come back is taken at its word; nobody comes back all at once.
    if (trouble.status !== 401) soon(busy ? 1000 * trouble.after * (1 + Math.random()) : strewn(wait));
  }
}

async function bringHome() {
  // The first request, even an empty one, tells how wrong the clock is, before any time of writing is sent.
  let { waiting } = await holding();
  const held = (await all("pieces")).filter((p) => p.state === "held" && p.kind !== "photo");
  await post([], waiting.length, held.map((p) => p.key));
  while (waiting.length) {
    waiting.sort((a, b) => (a.visit < b.visit ? -1 : a.visit > b.visit ? 1 : a.seq - b.seq));
    const batch = [];
    let size = 0;
    for (const piece of waiting) {
      if (batch.length && (batch.length >= PIECES || size + piece.text.length > TEXT)) break;
      batch.push(piece);
      size += piece.text.length;
    }
    await post(batch, waiting.length - batch.length);
    const left = (await holding()).waiting;
    if (left.length >= waiting.length) throw Object.assign(new Error("server"), { status: 500 });
    waiting = left;
  }
  await photos();
}

async function post(pieces, waiting, asked = []) {
  const body = JSON.stringify({
    device: await device(), app: APP, waiting, later: true, asked: asked.slice(0, 500), name: navigator.userAgentData?.platform || navigator.platform || "",
    pieces: pieces.map((p) => ({
      key: p.key, visit: p.visit, version: p.version, kind: p.kind, format: p.format, payload: JSON.parse(p.text),
      at: moment(p).toISOString(),
    })),
  });
  const { found } = await ask("pieces/", { method: "POST", body, headers: { "Content-Type": "application/json" } });
  home();
  for (const said of found.outcomes) {
    if (said.state === "unknown") said.state = "waiting"; // it never arrived: sent once more
    await mark(said.key, { state: said.state, code: said.code, sentence: said.sentence, home_at: Date.now() });
    if (HOME.has(said.state) && (await get("photos", said.key))) await remove("photos", said.key);
  }
  tell({});
}

// The first gap in what the server has: [from, to), to no longer than one part.
export function gap(here, size, most = PART) {
  let end = 0;
  for (const [from, to] of [...here].sort((a, b) => a[0] - b[0])) {
    if (from > end) return [end, Math.min(from, end + most)];
    end = Math.max(end, to);
  }
  return end < size ? [end, Math.min(size, end + most)] : null;
}
let part = PART;

// Photos last, part by part, from where the server stands. One goes from here only when its piece is said to be kept.
async function photos() {
  for (const { key } of await all("photos")) {
    const piece = await get("pieces", key);
    if (!piece || piece.state === "waiting" || piece.state === "refused") continue;
    const owner = await device();
    let photo = await get("photos", key);
    let here = (await ask(`photos/${key}/?device=${owner}&total=${photo.size}`)).found.here;
    for (let next = gap(here, photo.size, part); next; next = gap(here, photo.size, part)) {
      const began = performance.now();
      const { found } = await ask(`photos/${key}/?device=${owner}&total=${photo.size}&place=${next[0]}&later=1`, {
        method: "PUT", body: photo.blob.slice(...next), headers: { "Content-Type": "application/octet-stream" },
      });
      here = found.here;
      part = Math.round(Math.max(PART, Math.min(MOST_PART, (PART_MS * (next[1] - next[0])) / (performance.now() - began))));
      home();
      await change("photos", key, (row) => (row ? { ...row, here } : undefined));
      tell({});
    }
    await post([], (await holding()).waiting.length, [key]);
    photo = await get("photos", key);
    if (photo && (await get("pieces", key)).state === "to_settle") await remove("photos", key); // all of it is there
  }
}

export function start() {
  addEventListener("online", () => soon(strewn(600)));
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && soon(0));
  setInterval(() => soon(strewn(2000)), 60_000);
  soon(0);
}
