// Recording at the bench. With the network a form goes to the server as it is, and its answer says what follows.
// Without it, or when sending is cut off, what was typed goes into the outbox and the next check is taken in hand.

import { isKept } from "./keep.js";
import { network, say } from "./network.js";
import { note, noteOnNextPage } from "./notes.js";
import { onwardFrom, takeNextPlace, waitingSpots } from "./onward.js";
import { keep, send, waiting } from "./outbox.js";
import { place } from "./place.js";
import { entryOf, stamp } from "./typed.js";
import { uuid } from "./uuid.js";

const AGAIN_MS = 2000;
const READINGS = "form[data-reading]";

async function keepReading(form, submitter, options) {
  const entry = entryOf(form, submitter, options);
  if (!entry.body.text?.trim() && !entry.body.withdraws) {
    note("Not done", "Nothing was typed.");
    return;
  }
  if (!(await isWritten(entry))) return;
  // It may have been this one sending only that was cut off.
  if (options?.again) await Promise.race([send(), new Promise((done) => setTimeout(done, AGAIN_MS))]);
  const [word, words] = await toldOf(entry);
  const next = await onwardFrom(form);
  if (network() === "away" && !(await isKept(next))) {
    note(word, `${words} The next page is not on this tablet: go on here, or wait for the network.`);
    await empty(form);
    return;
  }
  noteOnNextPage(word, words);
  location.assign(next);
}

// Written into the tablet; false, and said, when it was there already or the tablet has no room.
async function isWritten(entry) {
  try {
    await keep(entry);
    return true;
  } catch (trouble) {
    if (trouble?.name === "ConstraintError") return false;
    note("Not done", "This tablet cannot keep it: its storage is full or closed. Leave the page open.");
    return false;
  }
}

// What became of an entry so far, in words.
async function toldOf(entry) {
  const left = (await waiting()).find((one) => one.id === entry.id);
  if (!left) return ["Done", `${entry.told}. It is recorded.`];
  if (left.state === "refused") return ["Not done", `${entry.told}. ${left.problem}`];
  const wait = network() === "signed out" ? "It is sent once you have signed in." : "It is sent when the network returns.";
  return ["Kept", `${entry.told}. It waits on this tablet. ${wait}`];
}

// The same form for another entry.
async function empty(form) {
  form.reset();
  for (const [name, value] of [["id", uuid()], ["taken_at", ""], ["text", ""]]) {
    const field = form.elements.namedItem(name);
    if (field) field.value = value;
  }
  takeNextPlace(form, await waitingSpots());
  form.querySelector(".reading-input")?.focus();
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
  const ids = [];
  for (const file of files) {
    const body = { ...own, id: uuid(), taken_at: new Date().toISOString() };
    const told = `${place().named}: photograph ${file.name}`;
    const entry = {
      id: body.id, kind: "photograph", api: place().api, body, file, name: file.name, told,
      page: location.pathname + location.search,
    };
    if (!(await isWritten(entry))) return;
    ids.push(body.id);
  }
  form.reset();
  // The form stands far below the head of the page, where notes are.
  note(...(await toldOfPhotographs(ids))).scrollIntoView({ block: "center" });
}

// What became of photographs so far, in words. A large one may take longer than anybody waits for.
async function toldOfPhotographs(ids) {
  if (network() === "here") await Promise.race([send(), new Promise((done) => setTimeout(done, AGAIN_MS))]);
  const left = (await waiting()).filter((one) => ids.includes(one.id));
  const refused = left.find((one) => one.state === "refused");
  if (refused) {
    const { name, problem } = refused;
    return ["Not done", problem.includes(name) ? problem : `${name}: ${problem}`];
  }
  if (left.length) return ["Kept", "The photograph is on this tablet and is sent as soon as the shop's computer answers."];
  return ["Done", ids.length === 1 ? "The photograph is kept with the check." : "The photographs are kept with the check."];
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
