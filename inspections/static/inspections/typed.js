// From a form of the bench to what the outbox keeps: the same fields, with the same content, as the form sends.

import { place } from "./place.js";
import { uuid } from "./uuid.js";

const OF_THE_FORM = new Set(["csrfmiddlewaretoken", "deed", "outcome", "file"]);
const LISTS = new Set(["pieces"]);

// The tablet's clock at the moment of the entry; a second press does not change it.
export function stamp(form) {
  const field = form.elements.namedItem("taken_at");
  if (field && !field.value) field.value = new Date().toISOString();
}

export function bodyOf(form, submitter) {
  stamp(form);
  const data = new FormData(form);
  const body = {};
  for (const name of new Set(data.keys())) {
    if (OF_THE_FORM.has(name)) continue;
    const values = data.getAll(name).map((one) => (name === "text" ? one : one.trim())).filter(Boolean);
    if (values.length) body[name] = LISTS.has(name) ? values : values[0];
  }
  if (submitter?.name === "outcome") body.text = submitter.value;
  return body;
}

export function entryOf(form, submitter, { again = false } = {}) {
  const body = bodyOf(form, submitter);
  // A form whose sending was cut off may have arrived: the same id makes sending again harmless.
  if (!again || !body.id) body.id = uuid();
  const what = submitter?.name === "outcome" ? nameOf(submitter) : (body.text ?? "taken back");
  return {
    id: body.id,
    kind: "reading",
    api: place().api,
    body,
    told: [place().named, document.querySelector("h1")?.textContent.trim(), titleOf(), what].filter(Boolean).join(": "),
    page: location.pathname + location.search,
  };
}

// What a button says, without the small print under its name.
function nameOf(button) {
  const copy = button.cloneNode(true);
  for (const one of copy.querySelectorAll(".under")) one.remove();
  return copy.textContent.trim();
}

export function titleOf() {
  return document.getElementById("hand-title")?.textContent.trim() ?? "";
}
