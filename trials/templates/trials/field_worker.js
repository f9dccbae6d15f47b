// Keeps the page's own files on the phone. Of the portal's data it keeps nothing: requests for that pass by.
const CACHE = "field-{{ version }}";
const PAGE = "{{ page }}";
const FILES = new Set({{ addresses|safe }});

self.addEventListener("install", (event) => {
  // All files or none: a page of two versions would be worse than an old one.
  const fresh = [...FILES].map((address) => new Request(address, { cache: "reload" }));
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(fresh)));
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name.startsWith("field-") && name !== CACHE) await caches.delete(name);
    await self.clients.claim();
  })());
});

// The page asks for a new version to take over when nobody is typing.
self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
});

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin || !FILES.has(url.pathname)) return;
  const kept = caches.open(CACHE).then((cache) => cache.match(url.pathname === PAGE ? PAGE : event.request, { ignoreSearch: true }));
  event.respondWith(kept.then((response) => response ?? fetch(event.request)));
});
