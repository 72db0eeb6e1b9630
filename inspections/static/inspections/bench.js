// The bench's pages come to life: what others do, what waits here, what is kept here.

import { startEntry, takeInHand } from "./entry.js";
import { keepPages } from "./keep.js";
import { startLive } from "./live.js";
import { network, say, whenChanged } from "./network.js";
import { note, showKeptNote } from "./notes.js";
import { startSending } from "./outbox.js";
import { pick } from "./pick.js";
import { place } from "./place.js";
import { startWaiting } from "./waiting.js";

function tellKept() {
  const at = new Date(Number(place().keptAt));
  const time = at.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  note("No network", `This page is as it was kept at ${time}. What you record waits on this tablet.`);
}

function whenBack() {
  if (network() === "here") document.querySelector("[data-own-note]")?.remove();
}

startEntry();
if (place().keptAt) {
  say("away");
  tellKept();
  whenChanged(whenBack);
}
showKeptNote();
await pick();
takeInHand();
startWaiting();
startSending();
startLive();
setTimeout(() => void keepPages(), 300);
