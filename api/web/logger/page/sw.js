// Keeps the logger's own files, so that the page opens with the network off. What the server knows is never kept here: the page has its copy.

const version = "{{version}}";
const files = {{files}};

const name = `laneward logger ${version}`;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(name).then((cache) => cache.addAll(files.map((file) => new Request(file, { cache: "reload" })))));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(caches.keys()
    .then((names) => Promise.all(names.filter((other) => other.startsWith("laneward logger ") && other !== name).map((other) => caches.delete(other))))
    .then(() => self.clients.claim()));
});

// A new version waits until the page says so, because a page keeps the files it began with.
self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
});

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin || !url.pathname.startsWith("/logger/")) return;
  const wanted = event.request.mode === "navigate" ? "/logger/" : url.pathname;
  event.respondWith(caches.open(name).then((cache) => cache.match(wanted)).then((kept) => kept ?? fetch(event.request)));
});
