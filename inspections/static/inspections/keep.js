// The pages of an opened unit are kept on this tablet, each position with all its checks, so that the bench goes on
// without a network. Kept for one person and one landing of the program; signing out throws them away.

import { codes, pageOf, place } from "./place.js";

const NAMED = "bench-pages:";
const FRESH_MS = 10 * 60 * 1000;
const OWN_FRESH_MS = 30 * 1000;
const PAUSE_MS = 60;
const KEPT_AT = "X-Kept-At";

const able = "serviceWorker" in navigator && "caches" in window;

export async function keepPages() {
  const { person, version, unit, positions, keeps, keptAt } = place();
  if (!able || !person) return;
  await navigator.serviceWorker.register("/bench-worker.js", { scope: "/bench/" });
  const name = `${NAMED}${version}:${person}`;
  for (const other of await caches.keys()) {
    if (other.startsWith(NAMED) && other !== name) await caches.delete(other);
  }
  if (!keeps || keptAt) return;
  const cache = await caches.open(name);
  const own = location.pathname;
  const pages = [own, unit, "/bench/", ...codes(positions).map(pageOf)];
  for (const page of new Set(pages)) {
    if (await isFresh(cache, page, page === own ? OWN_FRESH_MS : FRESH_MS)) continue;
    if (!(await keepPage(cache, page, person))) return;
    await new Promise((done) => setTimeout(done, PAUSE_MS));
  }
  document.documentElement.dataset.kept = unit;
}

// Can the tablet open this address by itself? Over plain http at a host name browsers keep no pages.
export async function isKept(address) {
  if (!able || !navigator.serviceWorker.controller) return false;
  const { person, version } = place();
  const cache = await caches.open(`${NAMED}${version}:${person}`);
  return Boolean(await cache.match(new URL(address, location.href).pathname));
}

async function isFresh(cache, page, most) {
  const kept = await cache.match(page);
  return Boolean(kept) && Date.now() - Number(kept.headers.get(KEPT_AT)) < most;
}

async function keepPage(cache, page, person) {
  let answer;
  try {
    // Not on to the sign-in page: it would give this browser another token than the form that is open.
    answer = await fetch(`${page}?keep=1`, { priority: "low", redirect: "manual" });
  } catch {
    return false; // the network is away: the next page goes on from here
  }
  if (answer.type === "opaqueredirect" || answer.status === 401 || answer.status === 403) return false;
  const text = await answer.text();
  // Another person may have signed in meanwhile: that page is not this one's to keep.
  if (!answer.ok || !text.includes(`data-person="${person}"`)) return answer.status === 404;
  const at = Date.now();
  const body = text.replace('data-kept-at=""', `data-kept-at="${at}"`);
  const headers = {
    "Content-Type": "text/html; charset=utf-8",
    "Content-Security-Policy": answer.headers.get("Content-Security-Policy") ?? "default-src 'self'",
    [KEPT_AT]: String(at),
  };
  await cache.put(page, new Response(body, { headers }));
  return true;
}
