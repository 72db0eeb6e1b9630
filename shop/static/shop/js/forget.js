// Signing out throws away the pages that the bench keeps on this tablet. What waits to be sent stays.

const PAGES = "bench-pages:";

async function forget() {
  if (!("caches" in window)) return;
  for (const name of await caches.keys()) if (name.startsWith(PAGES)) await caches.delete(name);
}

// Whoever is asked to sign in is nobody yet.
if (location.pathname === "/sign-in") void forget();

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("form[data-sign-out]") || form.dataset.forgotten) return;
  event.preventDefault();
  form.dataset.forgotten = "1";
  forget().finally(() => form.submit());
});
