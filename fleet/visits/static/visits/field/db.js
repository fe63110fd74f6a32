// What the telephone keeps. Every write is strict: it counts as done only when it is on the storage itself, so that a
// browser that is killed or a battery that runs flat takes nothing with it.
import { isTaken, take } from "./reserve.js";

const NAME = "rising-main-field";
const VERSION = 1;
const STORES = { keep: null, visits: "key", drafts: "id", pieces: "key", photos: "key" };
let opening = null;
const watchers = new Set();

export function onTrouble(tell) {
  watchers.add(tell);
}

function database() {
  opening ||= new Promise((done, fail) => {
    const asked = indexedDB.open(NAME, VERSION);
    asked.onupgradeneeded = () => {
      for (const [name, path] of Object.entries(STORES)) {
        if (asked.result.objectStoreNames.contains(name)) continue;
        const store = asked.result.createObjectStore(name, path ? { keyPath: path } : undefined);
        if (name === "drafts" || name === "pieces" || name === "photos") store.createIndex("visit", "visit");
      }
    };
    asked.onsuccess = () => {
      const base = asked.result;
      base.onversionchange = () => {
        base.close();
        opening = null;
      };
      base.onclose = () => { opening = null; }; // a full disk closes it; it opens again when there is room
      done(base);
    };
    asked.onerror = () => {
      opening = null;
      fail(asked.error);
    };
  });
  return opening;
}

// What the storage refused, marked as such: whoever hears of it knows that nothing of ours is wrong.
const ofStorage = (cause) => Object.assign(new Error(cause?.message || "not kept"), { name: cause?.name || "Error", storage: true });

function outcome(request) {
  return new Promise((done, fail) => {
    request.onsuccess = () => done(request.result);
    request.onerror = () => fail(request.error);
  });
}

// A full disk closes the connection under what is just being asked: once more with a new one.
const CLOSED = new Set(["InvalidStateError", "AbortError", "UnknownError"]);

async function twice(ask) {
  try {
    return await ask(await database());
  } catch (trouble) {
    if (!CLOSED.has(trouble?.name)) throw ofStorage(trouble);
    if (trouble.name !== "AbortError") opening = null;
  }
  try {
    return await ask(await database());
  } catch (trouble) {
    throw ofStorage(trouble);
  }
}

const read = (store, ask) => twice((base) => outcome(ask(base.transaction(store).objectStore(store))));

export const get = (store, key) => read(store, (shelf) => shelf.get(key));

export const all = (store, visit) => read(store, (shelf) => (visit === undefined ? shelf.getAll() : shelf.index("visit").getAll(visit)));

const begin = (names) => twice((base) => base.transaction(names, "readwrite", { durability: "strict" }));

// What is done with a row inside a deal. A fault there undoes the deal and is told by it, not by the window.
export function got(asked, use) {
  asked.onsuccess = () => {
    try {
      use(asked.result);
    } catch (fault) {
      asked.transaction.fault = fault;
      asked.transaction.abort();
    }
  };
}

// Whether a write failed because there is no room: some browsers say so by name, some only in the words.
export const isFull = (trouble) => trouble?.name === "QuotaExceededError" || /NO_SPACE|no space|disk|quota/i.test(trouble?.message || "");

// What is told while the reserve is written into: all is kept, but room must be made.
const IN_RESERVE = { reserve: true };

// `work` is given the stores by name and must not wait for anything but them. Resolves when all of it is on storage.
// Where there is no room the reserve is taken and all of it done once more: `work` may run twice, never half.
export async function write(stores, work) {
  const names = [].concat(stores);
  const tell = (trouble) => { for (const watcher of watchers) watcher(trouble); };
  try {
    let answer;
    try {
      answer = await once(names, work);
    } catch (trouble) {
      if (!isFull(trouble) || !(await take())) throw trouble;
      opening = null; // what a full disk closed is opened anew
      answer = await once(names, work);
    }
    tell(isTaken() ? IN_RESERVE : null);
    return answer;
  } catch (trouble) {
    tell(trouble);
    throw trouble;
  }
}

async function once(names, work) {
  const deal = await begin(names);
  return new Promise((done, fail) => {
    let answer;
    deal.oncomplete = () => done(answer);
    deal.onabort = deal.onerror = () => fail(ofStorage(deal.fault || deal.error));
    try {
      answer = work(Object.fromEntries(names.map((name) => [name, deal.objectStore(name)])));
    } catch (fault) {
      deal.fault = fault;
      deal.abort();
    }
  });
}

export const put = (store, row, key) => write(store, (s) => void s[store].put(row, key));
export const remove = (store, key) => write(store, (s) => void s[store].delete(key));

// Read a row, change it and keep it, in one deal: two tabs cannot undo one another.
export function change(store, key, alter) {
  return write(store, (s) => {
    got(s[store].get(key), (found) => {
      const next = alter(found);
      if (next !== undefined) store === "keep" ? s.keep.put(next, key) : s[store].put(next);
    });
  });
}

export async function wipe() {
  await write(["keep", "visits"], (s) => {
    s.visits.clear();
    s.keep.delete("bundle");
    for (const name of ["sign", "open"]) s.keep.delete(name);
  });
}

export async function stay() {
  try {
    return (await navigator.storage?.persist?.()) ?? false;
  } catch {
    return false;
  }
}
