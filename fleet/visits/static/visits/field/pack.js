// Packing: the bundle from the server onto the telephone. What is being written here is never replaced by it.
import { all, get, got, put, write } from "./db.js";
import { learn } from "./clock.js";
import { signInKey } from "./lock.js";
import { speak, t } from "./words.js";

export const APP = document.body.dataset.version;
const FORMAT = 1; // of the bundle, as this version reads it
const LONGEST_MS = 60_000;

export class Refused extends Error {
  constructor(code, sentence, status, after = 0) {
    super(sentence);
    Object.assign(this, { code, status, after }); // after: seconds until the server wants to be asked again
  }
}

// Ask the server. Throws Refused with the server's own sentence, or the network's error.
export async function ask(path, { method = "GET", body, headers = {}, plain = false } = {}) {
  const key = signInKey();
  const answer = await fetch(`/api/v1/field/${path}`, {
    method, body, signal: AbortSignal.timeout(LONGEST_MS), credentials: plain ? "same-origin" : "omit", cache: "no-store",
    headers: { ...headers, ...(plain || !key ? {} : { Authorization: `Telephone ${key}` }) },
  });
  await learn(Number(answer.headers.get("X-Server-Time")));
  if (!answer.ok) {
    const said = await answer.json().catch(() => ({}));
    const fault = said.errors?.[0] || { code: `status_${answer.status}`, sentence: "" };
    throw new Refused(fault.code, fault.sentence, answer.status, Number(answer.headers.get("Retry-After")) || 0);
  }
  return { answer, found: answer.headers.get("Content-Type")?.includes("json") ? await answer.json() : await answer.blob() };
}

export const DAYS_AHEAD = 7;

// This telephone's own name for itself; it stays when someone else logs in.
export async function device() {
  let key = await get("keep", "device");
  if (!key) {
    key = crypto.randomUUID();
    await put("keep", key, "device");
  }
  return key;
}

export async function pack() {
  const { found } = await ask(`bundle/?device=${await device()}&days=${DAYS_AHEAD}&app=${APP}`);
  // A server that packs in a newer way than this version reads: what is packed stays, and everything is still sent.
  if (found.format > FORMAT) throw new Refused("app_old", t("app_old"), 426);
  const { visits, procedures, ...rest } = found;
  const size = JSON.stringify(found).length;
  const pieces = await all("pieces"), drafts = await all("drafts");
  const busy = new Set([...pieces.filter((p) => p.state === "waiting" || p.state === "refused"), ...drafts.filter((d) => !d.settled)]
    .map((row) => row.visit));
  await write(["visits", "keep"], (s) => {
    got(s.visits.getAll(), (rows) => {
      const old = new Map(rows.map((row) => [row.key, row]));
      for (const data of visits) {
        const row = old.get(data.key);
        old.delete(data.key);
        // The pages of a visit under way stay as they were packed: nothing changes under the writing hand.
        if (row?.begun) s.visits.put({ ...row, gone: false, moved: data.day === row.data.day ? null : data.day });
        else s.visits.put({ ...row, key: data.key, data, procedure: procedures[data.procedure] || null, weighing: rest.weighing || null, gone: false });
      }
      for (const row of old.values()) {
        if (busy.has(row.key)) s.visits.put({ ...row, gone: true });
        else s.visits.delete(row.key);
      }
      s.keep.put({ ...rest, at: Date.now(), size, count: visits.length }, "bundle");
    });
  });
  speak(rest.words, rest.person);
  await pictures(visits);
}

// The site's last photos, small; after everything else, and not at all if they do not come.
async function pictures(visits) {
  for (const address of visits.flatMap((v) => v.photos).slice(0, 40)) {
    if (await get("keep", `photo/${address}`)) continue;
    try {
      const answer = await fetch(address, { credentials: "same-origin", signal: AbortSignal.timeout(20_000) });
      if (!answer.ok || !answer.headers.get("Content-Type")?.startsWith("image/")) return;
      await put("keep", await answer.blob(), `photo/${address}`);
    } catch {
      return;
    }
  }
}

// Days for which the PIN opens without the server; counted from the last time it was reached.
export function daysLeft(bundle) {
  return bundle ? bundle.offline_days - (Date.now() - bundle.at) / 86_400_000 : 0;
}
