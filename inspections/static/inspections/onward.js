// Where to go on without the shop's computer: the next open check of this position, then the next position.

import { waiting } from "./outbox.js";
import { codes, pageOf, place } from "./place.js";

// Checks of this unit that already wait in the outbox, as "check piece place".
export async function waitingSpots() {
  const own = (await waiting()).filter((one) => one.kind === "reading" && one.api === place().api);
  return new Set(own.map(({ body }) => `${body.check} ${body.piece ?? ""} ${body.place ?? ""}`));
}

export function spotOf(check, piece, spot = "") {
  return `${check} ${piece ?? ""} ${spot}`;
}

// Choose the next place of the check in hand that neither the server nor the outbox has; false if none is left.
export function takeNextPlace(form, spots) {
  const radios = [...form.querySelectorAll("input[name=place]")];
  if (!radios.length) return false;
  const [check, piece] = ["check", "piece"].map((name) => form.elements.namedItem(name)?.value);
  const from = Math.max(0, radios.findIndex((one) => one.checked));
  const next = radios.slice(from).find((one) => !spots.has(spotOf(check, piece, one.value)));
  if (next) next.checked = true;
  return Boolean(next);
}

export async function onwardFrom(form) {
  const spots = await waitingSpots();
  const [check, piece] = ["check", "piece"].map((name) => form.elements.namedItem(name)?.value);
  if (takeNextPlace(form, spots)) return addressOf(place().position, check, piece);
  const rows = [...document.querySelectorAll("[data-check]:not(template)")];
  const read = new Set([...spots].map((one) => one.split(" ").slice(0, 2).join(" ")));
  const open = (one) => "open" in one.dataset && !read.has(`${one.dataset.check} ${piece ?? ""}`);
  const here = rows.findIndex((one) => one.dataset.check === check);
  const next = rows.slice(here + 1).find(open);
  if (next) return addressOf(place().position, next.dataset.check, piece);
  const positions = codes(place().positions);
  const lacking = new Set(codes(place().open));
  const at = positions.indexOf(place().position);
  const round = [...positions.slice(at + 1), ...positions.slice(0, at + 1)];
  const position = round.find((one) => lacking.has(one));
  return position ? pageOf(position) : place().unit;
}

function addressOf(position, check, piece) {
  const query = new URLSearchParams({ check, ...(piece ? { piece } : {}) });
  return `${pageOf(position)}?${query}`;
}
