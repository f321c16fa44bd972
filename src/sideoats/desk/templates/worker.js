// Keeps the shell of Enter on this phone, version {{ version }}. Only addresses under /enter/ and the files below.
const SHELL = "sideoats-enter-{{ version }}";
const FILES = {{ files | tojson }};
const DATA = "/enter/data.json";

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELL).then((cache) => cache.addAll(FILES.map((file) => new Request(file, { cache: "reload" })))));
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name.startsWith("sideoats-enter-") && name !== SHELL) await caches.delete(name);
    await self.clients.claim();
  })());
});

self.addEventListener("message", (event) => { if (event.data === "use newer") self.skipWaiting(); });

async function kept(request, key) {
  const cache = await caches.open(SHELL);
  return (await cache.match(key ?? request)) ?? Response.error();
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  if (event.request.mode === "navigate" && url.pathname === "/enter/") {
    // Without a signal, without a session, with the desk in trouble: the kept page opens, and shows what waits.
    event.respondWith((async () => {
      try {
        const answer = await fetch(event.request);
        if (answer.ok || url.search || answer.type === "opaqueredirect") return answer;
      } catch { /* no signal */ }
      return kept(event.request, "/enter/");
    })());
  } else if (url.pathname === DATA) {
    return; // the page keeps places and kinds itself, and asks for them afresh
  } else if (FILES.includes(url.pathname + url.search)) {
    event.respondWith(kept(event.request, url.pathname + url.search).then((found) => (found.type === "error" ? fetch(event.request) : found)));
  }
});
