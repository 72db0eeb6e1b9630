// A scanner that types like a keyboard: a fast burst of signs that ends with Enter opens what the tag belongs to, from
// any page. In a text field signs are left alone, except a tag where only a number can stand. On a page with a check
// in hand a burst of digits is a gauge's: it goes into the reading.

const FAST_MS = 60; // between two keys; nobody types that fast for long
const SHORTEST = 3;
const NUMBER = /^[−-]?[\d.,\/ ]+(mm|in|thou|µm)?$/i;
const TAG = /^(p-\d+|https?:\S+\/counter\/tickets\/\d+)$/i;
const TEXT = "input:not([type=radio], [type=checkbox], [type=button], [type=submit]), textarea, [contenteditable]";

let burst = "";
let last = 0;
let before = null; // a choice that the first signs may have moved

function open(tag) {
  location.assign(`/find?${new URLSearchParams({ tag })}`);
}

function reset() {
  burst = "";
  before = null;
}

function restoreChoice() {
  if (before) before.element.selectedIndex = before.index;
}

function take(event, text) {
  event.preventDefault();
  event.stopImmediatePropagation();
  restoreChoice();
  const input = document.querySelector("form[data-reading] .reading-input[data-number]");
  if (NUMBER.test(text) && input) {
    input.value = text;
    input.form.requestSubmit();
  } else if (!NUMBER.test(text) || !document.querySelector("form[data-reading]")) open(text);
}

document.addEventListener(
  "keydown",
  (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
    const field = event.target.closest?.(TEXT);
    if (field) {
      reset();
      if (event.key === "Enter" && field.matches("[data-number]") && TAG.test(field.value.trim())) {
        event.preventDefault();
        event.stopImmediatePropagation();
        open(field.value.trim());
      }
      return;
    }
    const fast = event.timeStamp - last < FAST_MS;
    if (event.key === "Shift") return;
    if (event.key === "Enter") {
      const text = burst.trim();
      if (fast && text.length >= SHORTEST) take(event, text);
      reset();
      return;
    }
    if (event.key.length !== 1) return;
    if (!fast) {
      reset();
      const choice = event.target.closest?.("select");
      if (choice) before = { element: choice, index: choice.selectedIndex };
    }
    burst += event.key;
    last = event.timeStamp;
    if (burst.length >= SHORTEST) event.preventDefault();
  },
  true,
);
