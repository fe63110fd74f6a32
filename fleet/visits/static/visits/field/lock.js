// The PIN. It opens the log for a set number of days without the server, and it unlocks the key by which this telephone
// signs in; the key itself lies here only encrypted. Wrong tries cost growing waits. The records themselves are not
// encrypted: whoever takes the storage out of the telephone can read them.
import { get, put, remove, write } from "./db.js";

const ROUNDS = 310_000, FREE_TRIES = 5, OPEN_MIN = 45;
let token = null;

async function keyOf(pin, salt) {
  const raw = await crypto.subtle.importKey("raw", new TextEncoder().encode(pin), "PBKDF2", false, ["deriveKey"]);
  return crypto.subtle.deriveKey({ name: "PBKDF2", hash: "SHA-256", salt, iterations: ROUNDS }, raw,
    { name: "AES-GCM", length: 256 }, false, ["encrypt", "decrypt"]);
}

export async function setPin(pin, signInKey) {
  const salt = crypto.getRandomValues(new Uint8Array(16)), iv = crypto.getRandomValues(new Uint8Array(12));
  const key = await keyOf(pin, salt);
  const box = await crypto.subtle.encrypt({ name: "AES-GCM", iv }, key, new TextEncoder().encode(signInKey));
  await put("keep", { salt, iv, box, tries: 0, until: 0, signed: Date.now() }, "sign");
  await open(key, signInKey);
}

async function open(key, found) {
  token = found;
  await put("keep", { key, until: Date.now() + OPEN_MIN * 60_000 }, "open");
}

export const isSet = async () => Boolean(await get("keep", "sign"));

// Seconds to wait before the next try.
export async function mustWait() {
  const sign = await get("keep", "sign");
  return sign ? Math.max(0, Math.ceil((sign.until - Date.now()) / 1000)) : 0;
}

export async function unlock(pin) {
  const sign = await get("keep", "sign");
  if (!sign || sign.until > Date.now()) return false;
  // Counted before it is tried: closing the page does not give a free try.
  const tries = sign.tries + 1;
  const wait = tries < FREE_TRIES ? 0 : Math.min(3600, 30 * 2 ** (tries - FREE_TRIES)) * 1000;
  await put("keep", { ...sign, tries, until: wait ? Date.now() + wait : 0 }, "sign");
  try {
    const key = await keyOf(pin, sign.salt);
    const found = new TextDecoder().decode(await crypto.subtle.decrypt({ name: "AES-GCM", iv: sign.iv }, key, sign.box));
    await put("keep", { ...sign, tries: 0, until: 0 }, "sign");
    await open(key, found);
    return true;
  } catch {
    return false;
  }
}

// Still open from a while ago? A reload at the well does not ask again.
export async function reopen() {
  const [kept, sign] = [await get("keep", "open"), await get("keep", "sign")];
  if (!kept || !sign || kept.until < Date.now() || kept.until > Date.now() + OPEN_MIN * 120_000) return false;
  try {
    token = new TextDecoder().decode(await crypto.subtle.decrypt({ name: "AES-GCM", iv: sign.iv }, kept.key, sign.box));
  } catch {
    return false;
  }
  stayOpen();
  return true;
}

let last = 0;
export function stayOpen() {
  if (!token || Date.now() - last < 60_000) return;
  last = Date.now();
  get("keep", "open").then((kept) => kept && put("keep", { ...kept, until: Date.now() + OPEN_MIN * 60_000 }, "open")).catch(() => {});
}

export async function lockNow() {
  token = null;
  await remove("keep", "open");
}

export const signInKey = () => token;

export async function forget() {
  token = null;
  await write("keep", (s) => {
    s.keep.delete("sign");
    s.keep.delete("open");
  });
}
