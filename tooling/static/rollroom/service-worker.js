// Opens the Scan page while the server is out of reach. KEEP, written above by the server, names this
// version, the empty Scan page and its files. Only reading is ever kept: what is posted, and the API,
// pass by untouched.
const NAME = "rollroom-";
const CACHE = NAME + KEEP.version;
const PAGE_MS = 1500;
const FILE_MS = 4000;
const alone = new Set(); // pages that were opened without the server: their files are the kept ones

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(takeOver()));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (request.mode === "navigate" && !url.pathname.startsWith("/api/")) event.respondWith(page(event));
  else if (KEEP.files.includes(url.pathname)) event.respondWith(file(event, url.pathname));
  else if (KEEP.later.includes(url.pathname)) event.respondWith(later(url.pathname));
});

// All or nothing, and past the browser's own cache; the camera's reader comes along if it was in use.
async function install() {
  const fresh = [KEEP.shell, ...KEEP.files].map((url) => new Request(url, { cache: "no-cache", credentials: "same-origin" }));
  const cache = await caches.open(CACHE);
  await cache.addAll(fresh);
  const used = await Promise.all(KEEP.later.map((url) => caches.match(url)));
  if (used.every(Boolean)) await cache.addAll(KEEP.later).catch(() => {});
  await self.skipWaiting();
}

async function takeOver() {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name.startsWith(NAME) && name !== CACHE).map((name) => caches.delete(name)));
  await self.clients.claim();
}

function within(promise, ms) {
  return Promise.race([promise, new Promise((_, reject) => setTimeout(reject, ms, new Error("too late")))]);
}

async function page(event) {
  const isScan = new URL(event.request.url).pathname === KEEP.scan;
  try {
    const asked = fetch(event.request);
    const answer = await (isScan ? within(asked, PAGE_MS) : asked);
    if (answer.status < 502 || answer.status > 504) return answer;
  } catch {
    // No server, or not in time.
  }
  alone.add(event.resultingClientId);
  const kept = await (await caches.open(CACHE)).match(KEEP.shell);
  return kept || Response.error();
}

async function file(event, path) {
  const kept = await (await caches.open(CACHE)).match(path);
  if (kept && alone.has(event.clientId)) return kept;
  try {
    return await within(fetch(event.request), kept ? FILE_MS : 60000);
  } catch (error) {
    if (kept) return kept;
    throw error;
  }
}

// The address is one of a version, as its content is in the version's word: the kept one is right.
async function later(path) {
  const cache = await caches.open(CACHE);
  const kept = await cache.match(path);
  if (kept) return kept;
  const answer = await fetch(path);
  if (answer.ok) await cache.put(path, answer.clone());
  return answer;
}
