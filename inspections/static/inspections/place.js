// What the page says of itself: whose it is, which examination, and where to ask about it.

export function place() {
  return document.getElementById("live")?.dataset ?? {};
}

// The page of a position of this unit.
export function pageOf(code) {
  return `${place().unit}/${encodeURIComponent(code)}`;
}

export function codes(text) {
  return (text ?? "").split(" ").filter(Boolean);
}
