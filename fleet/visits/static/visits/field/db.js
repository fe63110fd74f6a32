// What the telephone keeps. Every write is strict: it counts as done only when it is on the storage itself, so that a
// browser that is killed or a battery that runs flat takes nothing with it.
import { done, noting, picturesBack, putBack, readAll } from "./again.js";
import { isTaken, layBy, take } from "./reserve.js";

const NAME = "rising-main-field";
const VERSION = 1;
const STORES = { keep: null, visits: "key", drafts: "id", pieces: "key", photos: "key" };
let opening = null;
const watchers = new Set();
const AGAIN_MS = 2000, MAKES_ROOM_MS = 400;

// What is told while the reserve is written into: all is kept, but room must be made. And what is told when the browser
// had thrown everything away and it was put back from memory.
const IN_RESERVE = { reserve: true }, THROWN = { thrown: true };

export function onTrouble(tell) {
  watchers.add(tell);
}

const lookAgain = () => database().catch(() => setTimeout(lookAgain, AGAIN_MS)); // until there is room for it

// The browser had thrown everything away, and the words are back: the pictures as well, and room laid by anew.
async function backIn(base) {
  for (const watcher of watchers) watcher(THROWN);
  await picturesBack(base).catch(() => {}); // closed once more: the next opening tries them again
  await layBy();
}

function database() {
  opening ||= new Promise((ready, fail) => {
    const asked = indexedDB.open(NAME, VERSION);
    let thrown = false;
    asked.onupgradeneeded = ({ oldVersion }) => {
      for (const [name, path] of Object.entries(STORES)) {
        if (asked.result.objectStoreNames.contains(name)) continue;
        const store = asked.result.createObjectStore(name, path ? { keyPath: path } : undefined);
        if (name === "drafts" || name === "pieces" || name === "photos") store.createIndex("visit", "visit");
      }
      thrown = oldVersion === 0 && putBack(asked.transaction);
    };
    asked.onsuccess = () => {
      const base = asked.result;
      base.onversionchange = () => {
        base.close();
        opening = null;
      };
      base.onclose = () => { // a full disk closes it, sometimes to throw all of it away: looked at soon, and put back
        opening = null;
        setTimeout(lookAgain, 100);
      };
      readAll(base);
      ready(base);
      if (thrown) backIn(base);
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

// A storage that cannot even be opened is taken for full as well: nothing else of ours stands in its way.
const wantsRoom = (trouble) => isFull(trouble) || /backing store/i.test(trouble?.message || "");

// `work` is given the stores by name and must not wait for anything but them. Resolves when all of it is on storage.
// Where there is no room the reserve is taken and all of it done once more: `work` may run again, never half. A browser
// that throws everything away to make room has closed the storage by then: once more with what was put back.
export async function write(stores, work) {
  const names = [].concat(stores);
  const tell = (trouble) => { for (const watcher of watchers) watcher(trouble); };
  try {
    let answer;
    try {
      answer = await once(names, work);
    } catch (trouble) {
      if (trouble.fault || !(isFull(trouble) || CLOSED.has(trouble.name))) throw trouble;
      if (!wantsRoom(trouble) || !(await take())) await new Promise((next) => setTimeout(next, MAKES_ROOM_MS));
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
  const deal = await begin(names), notes = [];
  return new Promise((ready, fail) => {
    let answer;
    deal.oncomplete = () => {
      done(notes);
      ready(answer);
    };
    deal.onabort = deal.onerror = () => fail(Object.assign(ofStorage(deal.fault || deal.error), { fault: deal.fault }));
    try {
      answer = work(Object.fromEntries(names.map((name) => [name, noting(deal.objectStore(name), notes)])));
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

// Whether the browser promises to keep what is written here even when the telephone is full. Most promise it for a page
// that lies on the home screen.
export async function stays() {
  try {
    return (await navigator.storage?.persisted?.()) ?? false;
  } catch {
    return false;
  }
}

export async function askToStay() {
  try {
    return (await stays()) || ((await navigator.storage?.persist?.()) ?? false);
  } catch {
    return false;
  }
}
