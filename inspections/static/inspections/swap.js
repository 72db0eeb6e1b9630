// What others changed comes into the page part by part; what is being typed, the focus and open drawers stay.

// Tokens and fresh ids differ in each answer and mean nothing.
const NOISE = /(name="csrfmiddlewaretoken" value|name="id" value)="[^"]*"/g;

function text(part) {
  const copy = part.cloneNode(true);
  for (const slot of copy.querySelectorAll("[data-presence]")) slot.textContent = "";
  return copy.innerHTML.replace(NOISE, "");
}

// Somebody types in this part, or has a drawer with a form open in it.
function busy(part) {
  if (part.querySelector("details[open] form")) return true;
  const fields = [...part.querySelectorAll("input:not([type=hidden]), textarea")];
  return fields.some((one) => one === document.activeElement || one.value !== one.defaultValue);
}

// Puts in what can be put in; true when nothing had to wait.
export function swapIn(fresh) {
  let whole = true;
  for (const part of document.querySelectorAll("[data-live]")) {
    const other = fresh.querySelector(`[data-live="${part.dataset.live}"]`);
    if (!other || text(part) === text(other)) continue;
    if (busy(part)) whole = false;
    else replace(part, other);
  }
  return whole;
}

function replace(part, other) {
  const focused = part.contains(document.activeElement) ? keyOf(document.activeElement) : "";
  const scrolled = [...part.querySelectorAll(".ledger-region")].map((one) => [one.scrollLeft, one.scrollTop]);
  const opened = new Set([...part.querySelectorAll("details[open] > summary")].map((one) => one.textContent));
  const next = document.importNode(other, true);
  for (const one of next.querySelectorAll("details > summary")) {
    if (opened.has(one.textContent)) one.parentElement.open = true;
  }
  part.replaceWith(next);
  window.htmx?.process(next);
  next.querySelectorAll(".ledger-region").forEach((one, n) => {
    [one.scrollLeft, one.scrollTop] = scrolled[n] ?? [0, 0];
  });
  if (focused) next.querySelector(focused)?.focus({ preventScroll: true });
}

function keyOf(element) {
  if (element.id) return `#${CSS.escape(element.id)}`;
  const to = element.getAttribute("href");
  return to ? `${element.localName}[href="${CSS.escape(to)}"]` : "";
}
