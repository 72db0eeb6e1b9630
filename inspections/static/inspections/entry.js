// Recording at the bench. With the network a form goes to the server as it is, and its answer says what follows.
// Without it, or when sending is cut off, what was typed goes into the outbox and the next check is taken in hand.

import { network, say } from "./network.js";
import { note, noteOnNextPage } from "./notes.js";
import { keep } from "./outbox.js";
import { onwardFrom } from "./onward.js";
import { place } from "./place.js";
import { entryOf, stamp } from "./typed.js";
import { uuid } from "./uuid.js";

const READINGS = "form[data-reading]";

async function keepReading(form, submitter, options) {
  const entry = entryOf(form, submitter, options);
  if (!entry.body.text?.trim() && !entry.body.withdraws) {
    note("Not done", "Nothing was typed.");
    return;
  }
  try {
    await keep(entry);
  } catch (trouble) {
    if (trouble?.name === "ConstraintError") return; // kept already
    note("Not done", "This tablet cannot keep what is typed: its storage is full or closed. Leave the page open.");
    throw trouble;
  }
  const wait = network() === "signed out" ? "It is sent once you have signed in." : "It is sent when the network returns.";
  noteOnNextPage("Kept", `${entry.told}. It waits on this tablet. ${wait}`);
  location.assign(await onwardFrom(form));
}

async function keepPhotograph(form) {
  const files = [...(form.querySelector("input[type=file]")?.files ?? [])];
  if (!files.length) {
    note("Not done", "Choose a photograph first.");
    return;
  }
  const data = new FormData(form);
  const own = Object.fromEntries(
    ["check", "piece", "note"].map((name) => [name, String(data.get(name) ?? "").trim()]),
  );
  for (const file of files) {
    const body = { ...own, id: uuid(), taken_at: new Date().toISOString() };
    const told = `${place().named}: photograph ${file.name}`;
    await keep({
      id: body.id, kind: "photograph", api: place().api, body, file, name: file.name, told,
      page: location.pathname + location.search,
    });
  }
  form.reset();
  note("Kept", "The photograph is on this tablet and is sent as soon as the shop's computer answers.");
}

function whenSubmitted(event) {
  const form = event.target;
  if (form.matches("form[data-photograph]")) {
    halt(event);
    void keepPhotograph(form);
  } else if (form.matches(READINGS)) {
    stamp(form);
    if (network() === "here") return;
    halt(event);
    void keepReading(form, event.submitter);
  }
}

function halt(event) {
  event.preventDefault();
  event.stopImmediatePropagation();
}

function whenCutOff(event) {
  const form = event.target.closest?.(READINGS);
  if (!form) return;
  say("away");
  void keepReading(form, submitterOf(event), { again: true });
}

function whenAnswered(event) {
  const form = event.target.closest?.(READINGS) ?? event.detail.requestConfig?.elt?.closest?.(READINGS);
  if (!form) return;
  const { xhr } = event.detail;
  const asksWho = xhr.status === 401 || xhr.status === 403 || new URL(xhr.responseURL).pathname === "/sign-in";
  if (!asksWho && xhr.status < 500) return;
  event.detail.shouldSwap = false;
  say(asksWho ? "signed out" : "away");
  void keepReading(form, submitterOf(event), { again: true });
}

function submitterOf(event) {
  return event.detail.requestConfig?.triggeringEvent?.submitter;
}

// A gauge that types must never press a button: where there is no number to type the heading has the focus.
export function takeInHand() {
  const summary = document.querySelector("[data-focus]");
  if (summary) return;
  const input = document.querySelector(`${READINGS} .reading-input[autofocus]`);
  if (input && document.activeElement !== input && document.activeElement === document.body) input.focus();
}

export function startEntry() {
  document.addEventListener("submit", whenSubmitted, true);
  document.addEventListener("htmx:sendError", whenCutOff);
  document.addEventListener("htmx:timeout", whenCutOff);
  document.addEventListener("htmx:beforeSwap", whenAnswered);
  document.addEventListener("htmx:afterSettle", takeInHand);
}
