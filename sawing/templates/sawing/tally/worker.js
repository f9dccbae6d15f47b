// Keeps the page's own files on the tablet. Of the portal's data it keeps nothing: requests for that pass by.
const CACHE = "tally-{{ version }}";
const FRAME = "{{ frame }}";
const FILES = new Set({{ addresses|safe }});
const PAGE = /^\/sawing\/[^/]+\/[^/]+\/tally\/$/;

self.addEventListener("install", (event) => {
  // All files or none: a page of two versions would be worse than an old one.
  const fresh = [...FILES].map((address) => new Request(address, { cache: "reload" }));
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(fresh)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name.startsWith("tally-") && name !== CACHE) await caches.delete(name);
    await self.clients.claim();
  })());
});

const kept = (address) => caches.open(CACHE).then((cache) => cache.match(address, { ignoreSearch: true }));

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  const isPage = event.request.mode === "navigate" && PAGE.test(url.pathname);
  if (!isPage && !FILES.has(url.pathname)) return;
  // The kept frame, also with a network: it is of one version with the kept files, and opens at once.
  event.respondWith(kept(isPage ? FRAME : event.request).then((response) => response ?? fetch(event.request)));
});
