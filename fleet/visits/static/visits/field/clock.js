// The telephone's clock may be wrong, jump, or change its zone. Every record keeps the raw clock and the stretch of time
// ("regime") in which that clock ran evenly; how wrong it was is learned from the server, at the latest when sending.
import { get, put } from "./db.js";

const JUMP = 60_000, APART = 120_000, LONG = 60 * 86_400_000;
let state = { regime: "first", last: 0, offsets: {} };
let base = 0;

const fresh = () => crypto.randomUUID().slice(0, 8);

export async function begin() {
  state = (await get("keep", "clock")) || { regime: fresh(), last: 0, offsets: {} };
  base = Date.now() - performance.now();
  const now = Date.now();
  if (state.last && (now < state.last - JUMP || now > state.last + LONG)) state.regime = fresh();
  await tick();
}

async function tick() {
  const raw = Date.now();
  if (raw - performance.now() < base - JUMP) state.regime = fresh(); // set back while the log was open
  base = raw - performance.now();
  state.last = raw;
  await put("keep", state, "clock").catch(() => {}); // a full disk is told where a record was to be kept
}

// Taken with each record.
export function stamp() {
  const raw = Date.now();
  if (raw - performance.now() < base - JUMP) {
    state.regime = fresh();
    base = raw - performance.now();
  }
  state.last = raw;
  put("keep", state, "clock").catch(() => {});
  return { raw, regime: state.regime };
}

// Told by every answer of the server.
export async function learn(serverSeconds) {
  if (!Number.isFinite(serverSeconds) || serverSeconds <= 0) return;
  const off = Math.round(serverSeconds * 1000 - Date.now());
  const known = state.offsets[state.regime];
  if (known !== undefined && Math.abs(known - off) > APART) state.regime = fresh();
  state.offsets[state.regime] = off;
  await tick();
}

export function offset(regime = state.regime) {
  return state.offsets[regime];
}

// The moment of a stamp in true time, as well as it is known.
export function moment({ raw, regime }) {
  return new Date(raw + (state.offsets[regime] ?? 0));
}

export const now = () => new Date(Date.now() + (state.offsets[state.regime] ?? 0));

// More than two minutes off, or never compared since it jumped.
export function doubtful() {
  const off = state.offsets[state.regime];
  return off === undefined ? Object.keys(state.offsets).length > 0 : Math.abs(off) > APART;
}

export function clockAt(date, zone) {
  return new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: zone }).format(date);
}
