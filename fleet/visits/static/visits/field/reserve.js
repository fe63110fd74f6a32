// Room laid by for words. Some browsers say "plenty" until the disk is full to the last byte: then this file is emptied,
// and what is typed at the visit goes on being kept in the room that it leaves. A file, for emptying one asks the disk
// for nothing, while taking a row out of a store must be written down first.
import { isLow } from "./room.js";

const NAME = "reserve", BYTES = 8_000_000, PIECE = 1_000_000;
let taken = false; // the reserve is being written into

export const isTaken = () => taken;

async function file(make = false) {
  const folder = await navigator.storage?.getDirectory?.();
  const found = await folder?.getFileHandle(NAME, { create: make });
  return found?.createWritable ? found : null;
}

const size = async (found) => (await found.getFile()).size;

// Lay it by, where there is room. Returns whether it is there.
export async function layBy() {
  try {
    const found = await file(true);
    if (!found) return false;
    if ((await size(found)) < BYTES) {
      if (await isLow()) return false;
      const out = await found.createWritable();
      for (let n = 0; n < BYTES; n += PIECE) await out.write(new Uint8Array(PIECE));
      await out.close();
    }
    taken = false;
    return true;
  } catch {
    return false; // no room for it, or no such file here: writes that fail are told as before
  }
}

// Empty it. Returns whether that left any room.
export async function take() {
  try {
    const found = await file();
    if (!found || !(await size(found))) return false;
    await (await found.createWritable()).close();
    taken = true;
    return true;
  } catch {
    return false;
  }
}

// Whether it was emptied before this page was opened.
export async function lookAt() {
  const found = await file().catch(() => null);
  taken = Boolean(found && !(await size(found).catch(() => 1)));
}
