// Keeps one whole set of the log's files, so that it opens without a network. A new set is fetched beside the old one
// and takes over when no page of the old one is open: a visit that is being written is never cut by an update.
const SET = "field-{{ version }}";
const FILES = {{ files|safe }};
const SHELL = FILES[0];

async function fetchAll() {
  const set = await caches.open(SET);
  await Promise.all(FILES.map(async (file) => {
    const answer = await fetch(file, { cache: "no-cache", credentials: "same-origin" });
    if (!answer.ok) throw new Error(`${file}: ${answer.status}`);
    await set.put(file, answer);
  }));
}

self.addEventListener("install", (event) => event.waitUntil(fetchAll()));

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) {
      if (name.startsWith("field-") && name !== SET) await caches.delete(name);
    }
    await self.clients.claim();
  })());
});

self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
  if (event.data === "fetch all") event.waitUntil(fetchAll()); // a full disk may have thrown away the files alone
});

self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  if (event.request.method !== "GET" || address.origin !== self.location.origin) return;
  const page = event.request.mode === "navigate" && address.pathname === SHELL;
  if (!page && !FILES.includes(address.pathname)) return;
  event.respondWith((async () => {
    const set = await caches.open(SET);
    const kept = await set.match(page ? SHELL : address.pathname);
    return kept || fetch(event.request);
  })());
});
