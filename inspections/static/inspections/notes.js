// A note at the head of the page, as the server writes them; it can wait for the next page.

const KEY = "layshaft-note";

export function note(word, text) {
  document.querySelector("[data-own-note]")?.remove();
  const region = document.createElement("div");
  region.setAttribute("role", "status");
  region.dataset.ownNote = "";
  const list = document.createElement("ul");
  list.className = "notes";
  const line = document.createElement("li");
  line.className = "note note-info";
  const strong = document.createElement("span");
  strong.className = "note-word";
  strong.textContent = word;
  const said = document.createElement("span");
  said.textContent = text;
  line.append(strong, said);
  list.append(line);
  region.append(list);
  document.querySelector("#content .heading")?.after(region);
  return region;
}

export function noteOnNextPage(word, text) {
  sessionStorage.setItem(KEY, JSON.stringify([word, text]));
}

export function showKeptNote() {
  const kept = sessionStorage.getItem(KEY);
  if (!kept) return;
  sessionStorage.removeItem(KEY);
  note(...JSON.parse(kept));
}
