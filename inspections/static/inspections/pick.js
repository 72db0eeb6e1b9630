// A kept page carries every check of its position, for each of its pieces; the one in the address is taken in hand.

import { spotOf, takeNextPlace, waitingSpots } from "./onward.js";
import { place } from "./place.js";
import { uuid } from "./uuid.js";

export async function pick() {
  const spares = [...document.querySelectorAll("template[data-check]")];
  if (!spares.length) return;
  const asked = new URLSearchParams(location.search);
  const piece = asked.get("piece") || place().piece;
  const own = spares.filter((one) => !piece || one.dataset.piece === piece);
  const spots = await waitingSpots();
  const free = (one) => "open" in one.dataset && !spots.has(spotOf(one.dataset.check, one.dataset.piece));
  const spare = own.find((one) => one.dataset.check === asked.get("check")) ?? own.find(free) ?? own[0];
  if (spare) takeInHand(spare, spots);
}

function takeInHand(spare, spots) {
  const hand = document.getElementById("hand");
  if (!hand) return;
  hand.replaceWith(document.importNode(spare.content, true));
  for (const row of document.querySelectorAll("[data-check]:not(template) > a")) {
    const current = row.parentElement.dataset.check === spare.dataset.check;
    if (current) row.setAttribute("aria-current", "true");
    else row.removeAttribute("aria-current");
  }
  const form = document.querySelector("#hand form[data-reading]");
  window.htmx?.process(document.getElementById("hand"));
  if (!form) return;
  form.elements.namedItem("id").value = uuid();
  takeNextPlace(form, spots);
  form.querySelector(".reading-input")?.focus();
}

