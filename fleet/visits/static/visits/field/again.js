// What lies on the telephone, once more in memory. On a full disk some browsers throw away all that a site has kept, if
// they never promised to keep it: while this window is open, the next opening of the storage puts it back from here.
const PHOTOS = 60_000_000; // bytes of photos held at most; words are a few hundred kB
const rows = new Map(); // name of a store -> Map of key -> row
let known = false, photos = 0;

const keyOf = (store, row, key) => key ?? row[store.keyPath];
const isPicture = (name, row) => name === "photos" || row instanceof Blob;

// A blob of a storage that is thrown away can no longer be read: its bytes are copied.
async function held(blob) {
  photos += blob.size;
  return photos > PHOTOS ? null : new Blob([await blob.arrayBuffer()], { type: blob.type });
}

async function copied(row) {
  if (row instanceof Blob) return held(row);
  const blob = await held(row.blob);
  return blob && { ...row, blob };
}

// Read once, when the storage is opened and nothing has been written yet by this window.
export function readAll(base) {
  if (known) return;
  const names = [...base.objectStoreNames], found = new Map(), pictures = [];
  const deal = base.transaction(names);
  for (const name of names) {
    const store = deal.objectStore(name), kept = new Map();
    found.set(name, kept);
    store.openCursor().onsuccess = ({ target: { result: cursor } }) => {
      if (!cursor) return;
      kept.set(cursor.primaryKey, cursor.value);
      if (isPicture(name, cursor.value)) pictures.push([kept, cursor.primaryKey, cursor.value]);
      cursor.continue();
    };
  }
  deal.oncomplete = async () => {
    for (const [name, kept] of found) rows.set(name, kept);
    known = true;
    for (const [kept, key, row] of pictures) {
      const copy = await copied(row).catch(() => null);
      if (kept.get(key) !== row) continue; // written anew or gone meanwhile
      if (copy) kept.set(key, copy);
      else kept.delete(key);
    }
  };
}

// A store that notes what is written, until the deal is known to have gone well: then `done(notes)`.
export function noting(store, notes) {
  const name = store.name;
  return {
    get: (key) => store.get(key),
    getAll: () => store.getAll(),
    put(row, key) {
      notes.push([name, keyOf(store, row, key), structuredClone(row)]);
      return store.put(row, key);
    },
    delete(key) {
      notes.push([name, key]);
      return store.delete(key);
    },
    clear() {
      notes.push([name]);
      return store.clear();
    },
  };
}

export function done(notes) {
  for (const [name, key, row] of notes) {
    const kept = rows.get(name);
    if (!kept) continue; // not read yet: what was written comes with it
    if (key === undefined) kept.clear();
    else if (row === undefined) kept.delete(key);
    else kept.set(key, row);
  }
}

// Into stores that were just made, in the deal that made them. Returns whether there was anything: if so, all was thrown away.
export function putBack(deal) {
  if (!known) return false;
  for (const [name, kept] of rows) {
    const store = deal.objectStore(name);
    for (const [key, row] of kept) if (!isPicture(name, row)) store.put(row, store.keyPath ? undefined : key);
  }
  return rows.get("keep").size > 0;
}

// Then the pictures, each by itself: one that cannot be read any more holds up nothing.
export async function picturesBack(base) {
  for (const name of ["photos", "keep"]) {
    for (const [key, row] of rows.get(name)) {
      if (!isPicture(name, row)) continue;
      await new Promise((next) => {
        const deal = base.transaction(name, "readwrite", { durability: "strict" });
        deal.oncomplete = deal.onabort = next;
        deal.objectStore(name).put(row, name === "keep" ? key : undefined);
      });
    }
  }
}
