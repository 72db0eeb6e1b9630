// The drawer at the head of the page: how many wait, which were refused and why; mending and throwing away.

import { network, whenChanged } from "./network.js";
import { mend, throwAway, waiting, whenOutboxChanged } from "./outbox.js";

const LABELS = {
  text: "Reading", gauge: "Gauge", place: "Place", part_temperature: "Temperature of the part", note: "Note",
  reason: "Why", pieces: "Tried with", override: "Why it is read with this gauge",
};

function made(name, words = "", more = {}) {
  const element = Object.assign(document.createElement(name), more);
  if (words) element.textContent = words;
  return element;
}

function headline(own) {
  const refused = own.filter((one) => one.state === "refused").length;
  const due = own.length - refused;
  const words = [];
  if (due) words.push(`${due} ${due === 1 ? "waits" : "wait"}`);
  if (refused) words.push(`${refused} refused`);
  if (network() === "away") words.push("no network");
  if (network() === "signed out") words.push(due ? "sign in to send" : "signed out");
  return words.join(", ") || "all sent";
}

function drawLine(entry) {
  const line = made("li");
  line.append(made("p", entry.told));
  if (entry.state === "refused") {
    line.append(made("p", `Refused: ${entry.problem}`, { className: "refused", id: `why-${entry.order}` }));
    if (entry.kind === "reading") line.append(mending(entry));
  }
  if (entry.page) line.append(made("a", "Open its check", { href: entry.page, className: "reach" }), " ");
  line.append(thrower(entry));
  return line;
}

function mending(entry) {
  const form = made("form", "", { className: "mending" });
  const fields = new Set([...(entry.body.withdraws && !entry.body.text ? [] : ["text"]), ...(entry.field in LABELS ? [entry.field] : [])]);
  for (const name of fields) {
    const id = `mend-${entry.order}-${name}`;
    const input = made("input", "", { id, name, type: "text", value: [entry.body[name] ?? ""].flat().join(", "), autocomplete: "off" });
    if (name === entry.field || !(entry.field in LABELS)) {
      input.setAttribute("aria-invalid", "true");
      input.setAttribute("aria-describedby", `why-${entry.order}`);
    }
    form.append(made("label", LABELS[name], { htmlFor: id }), input);
  }
  form.append(made("button", "Send again", { type: "submit", className: "button second" }));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const typed = Object.fromEntries(new FormData(form));
    if ("pieces" in typed) typed.pieces = typed.pieces.split(/[\s,]+/).filter(Boolean);
    void mend(entry, typed);
  });
  return form;
}

// Two presses: what is thrown away is gone.
function thrower(entry) {
  const button = made("button", "Throw away", { type: "button", className: "as-link" });
  button.append(made("span", ` ${entry.told}`, { className: "unseen" }));
  button.addEventListener("click", () => {
    if (button.dataset.sure) void throwAway(entry.order);
    else {
      button.dataset.sure = "1";
      button.textContent = "Throw it away for good";
    }
  });
  return button;
}

async function draw(box) {
  const own = await waiting();
  const words = headline(own);
  const said = box.querySelector("[data-headline]");
  if (said.textContent !== words) said.textContent = words;
  box.querySelector("summary").classList.toggle("waits", words !== "all sent");
  const list = box.querySelector("ul");
  // Somebody mends: the lines stay as they are until the focus has left them.
  if (list.querySelector("form")?.contains(document.activeElement)) return;
  list.replaceChildren(...(own.length ? own.map(drawLine) : [made("li", "Everything that was typed here is sent.")]));
  const asks = network() === "signed out";
  box.querySelector("[data-sign-in]").hidden = !asks;
}

export function startWaiting() {
  const box = document.querySelector("[data-waiting]");
  if (!box) return;
  const link = box.querySelector("[data-sign-in]");
  link.href = `/sign-in?next=${encodeURIComponent(location.pathname + location.search)}`;
  const again = () => void draw(box);
  whenChanged(again);
  whenOutboxChanged(again);
  void draw(box).then(() => (box.hidden = false));
}
