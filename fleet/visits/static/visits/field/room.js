// Room on the telephone, told in time: looked at when a visit is opened and before each photo. Text of a visit is some
// hundred kB and a dozen photos 5 MB, so photos are asked to wait long before a word would be lost. Where the browser says
// more than there is, a write that fails tells it (db.js).
const TEXT_ONLY = 25_000_000;

// What the browser says, in bytes.
export async function room() {
  if (!navigator.storage?.estimate) return { left: Infinity, used: 0 };
  const { quota = Infinity, usage = 0 } = await navigator.storage.estimate();
  return { left: quota - usage, used: usage };
}

export const isLow = async () => (await room().catch(() => ({ left: Infinity }))).left < TEXT_ONLY;
