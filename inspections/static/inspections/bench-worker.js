// Serves the bench's pages from what the tablet keeps when the shop's computer does not answer. VERSION and FILES
// stand above this line; the pages themselves are kept by keep.js, for one person.

const STILL = `bench-files:${VERSION}`;
const PAGES = "bench-pages:";
const PATIENCE_MS = 6000;
// The name of a file with a digest in it never changes its content.
const HASHED = /\.[0-9a-f]{12}\.\w+$/;

self.addEventListener("install", (event) => {
  event.waitUntil(keepFiles().then(() => self.skipWaiting()));
});

async function keepFiles() {
  const cache = await caches.open(STILL);
  await Promise.allSettled(FILES.map((file) => cache.add(file)));
}

self.addEventListener("activate", (event) => {
  event.waitUntil(forgetOlder().then(() => self.clients.claim()));
});

async function forgetOlder() {
  for (const name of await caches.keys()) {
    const older = name.startsWith("bench-files:") ? name !== STILL : name.startsWith(PAGES) && !name.startsWith(`${PAGES}${VERSION}:`);
    if (older) await caches.delete(name);
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (address.origin !== self.location.origin) return;
  if (request.method === "GET" && address.pathname.startsWith("/static/")) event.respondWith(still(request));
  else if (request.mode === "navigate" && address.pathname.startsWith("/bench/")) event.respondWith(page(request, address));
});

async function still(request) {
  const cache = await caches.open(STILL);
  const kept = await cache.match(request);
  if (kept && HASHED.test(new URL(request.url).pathname)) return kept;
  try {
    const answer = await fetch(request);
    if (answer.ok) await cache.put(request, answer.clone());
    return answer;
  } catch (trouble) {
    if (kept) return kept;
    throw trouble;
  }
}

async function page(request, address) {
  const kept = request.method === "GET" ? await keptPage(address) : null;
  try {
    return await (kept ? Promise.race([fetch(request), tooLong()]) : fetch(request));
  } catch {
    return kept ?? away(request.method);
  }
}

function tooLong() {
  return new Promise((_, failed) => setTimeout(() => failed(new Error("no answer")), PATIENCE_MS));
}

async function keptPage(address) {
  for (const name of await caches.keys()) {
    if (!name.startsWith(`${PAGES}${VERSION}:`)) continue;
    const found = await (await caches.open(name)).match(address.pathname);
    if (found) return found;
  }
  return null;
}

function away(method) {
  const words =
    method === "GET"
      ? "This page is not kept on this tablet. Open the unit once with the network; then its pages stay."
      : "This needs the network, and nothing was sent. Go back and do it again when the network is there.";
  const body = `<!doctype html><html lang="en-GB"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>No network. Layshaft</title><h1>No network</h1><p>${words}</p><p><a href="/bench/">To the bench</a></p></html>`;
  const headers = { "Content-Type": "text/html; charset=utf-8", "Content-Security-Policy": "default-src 'none'" };
  return new Response(body, { status: 503, headers });
}
