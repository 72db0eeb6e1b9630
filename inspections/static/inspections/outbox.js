// The outbox: what was typed is written into the tablet first and sent in order when the shop's computer answers,
// each once (its id is made here, so sending again is harmless). A refused one stays with its reason.
// Nobody else's is sent: the session has to be that of the person who typed.

import { say } from "./network.js";
import { place } from "./place.js";
import { Away, reach, whoIsHere } from "./session.js";
import { add, ofOwner, put, remove } from "./store.js";
import { uuid } from "./uuid.js";

const MOST_AT_ONCE = 100;
const AGAIN_MS = 3000;
const told = new EventTarget();
let sending = null;

export function whenOutboxChanged(act) {
  told.addEventListener("change", act);
}

function changed() {
  told.dispatchEvent(new Event("change"));
}

export function waiting() {
  return place().person ? ofOwner(place().person) : Promise.resolve([]);
}

// entry: {id, kind: "reading" | "photograph", api, body, file?, told, page}
export async function keep(entry) {
  const whole = { ...entry, owner: place().person, state: "waiting", problem: "", field: "" };
  await add(whole);
  changed();
  void send();
}

export async function throwAway(order) {
  await remove(order);
  changed();
}

// What was refused is no reading yet: mended it goes out under a new id, at the end of the row.
export async function mend(entry, changes) {
  const { order, ...rest } = entry;
  const body = { ...entry.body, ...changes, id: uuid() };
  await add({ ...rest, id: body.id, body, state: "waiting", problem: "", field: "" });
  await remove(order);
  changed();
  void send();
}

// One sending at a time; whoever asks meanwhile waits for the same.
export function send() {
  sending ??= attempt().finally(() => (sending = null));
  return sending;
}

async function attempt() {
  try {
    const round = () => sendAll();
    await (navigator.locks ? navigator.locks.request("layshaft-outbox", round) : round());
  } catch (trouble) {
    if (!(trouble instanceof Away)) throw trouble;
    say("away");
  }
}

async function sendAll() {
  const due = (await waiting()).filter((one) => one.state === "waiting");
  if (!due.length) return;
  const session = await whoIsHere();
  if (session?.key !== place().person) {
    say("signed out");
    return;
  }
  say("here");
  for (const batch of inBatches(due)) {
    const goOn = batch[0].kind === "photograph" ? await sendPhotograph(batch[0], session) : await sendReadings(batch, session);
    changed();
    if (!goOn) return;
  }
}

function inBatches(due) {
  const batches = [];
  for (const one of due) {
    const last = batches.at(-1);
    const joins = last && one.kind === "reading" && last[0].kind === "reading" && last[0].api === one.api;
    if (joins && last.length < MOST_AT_ONCE) last.push(one);
    else batches.push([one]);
  }
  return batches;
}

async function sendReadings(batch, session) {
  const body = { readings: batch.map((one) => one.body), sent_at: new Date().toISOString() };
  const answer = await reach(`${batch[0].api}/readings`, {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-CSRFToken": session.csrf_token },
    body: JSON.stringify(body),
  });
  if (answer.ok) {
    const { results } = await answer.json();
    const byId = new Map(results.map((one) => [one.id, one]));
    for (const one of batch) await settle(one, byId.get(one.id));
    return true;
  }
  if (stops(answer)) return false;
  if (batch.length > 1) {
    // One of them cannot even be read: find out which.
    for (const one of batch) if (!(await sendReadings([one], session))) return false;
    return true;
  }
  await refuse(batch[0], await reason(answer));
  return true;
}

async function settle(one, result) {
  if (!result) return;
  if (result.status === "refused") await refuse(one, { words: result.problem, field: result.field });
  else await remove(one.order);
}

async function sendPhotograph(one, session) {
  const form = new FormData();
  for (const [name, value] of Object.entries(one.body)) form.append(name, value);
  form.append("file", one.file, one.name);
  const answer = await reach(`${one.api}/photographs`, {
    method: "POST",
    headers: { "X-CSRFToken": session.csrf_token },
    body: form,
    signal: AbortSignal.timeout(120000),
  });
  if (answer.ok) await remove(one.order);
  else if (stops(answer)) return false;
  else await refuse(one, await reason(answer));
  return true;
}

// 401 and 403 wait for a sign-in, a busy or broken computer for its return.
function stops(answer) {
  if (answer.status === 401 || answer.status === 403) say("signed out");
  return answer.status === 401 || answer.status === 403 || answer.status === 429 || answer.status >= 500;
}

async function refuse(one, { words, field }) {
  await put({ ...one, state: "refused", problem: words, field: field ?? "" });
}

async function reason(answer) {
  try {
    const problem = await answer.json();
    const error = problem.errors?.[0];
    return { words: error?.message ?? problem.detail ?? problem.title, field: error?.field.split(".").at(-1) };
  } catch {
    return { words: `The shop's computer answered ${answer.status}.` };
  }
}

export function startSending() {
  window.addEventListener("online", () => void send());
  setInterval(() => void send(), AGAIN_MS);
  void send();
}
