// <number-pad for="input-id">: a pad for hands with oil on them. It types into the input at its caret and never
// reads the number: what was typed goes to the server as it stands. The pad is one stop of the Tab key; arrow
// keys move within it. Typing into the input itself works as ever.

const COLUMNS = 4;
const UNITS = ["mm", "in", "thou"];
const KEYS = [
  ["7"], ["8"], ["9"], ["mm"],
  ["4"], ["5"], ["6"], ["in"],
  ["1"], ["2"], ["3"], ["thou"],
  ["0"], [".", "point"], ["/", "slash"], ["←", "← back"],
  ["−", "minus"], ["space"], [",", "comma"], ["clear"],
];
// For counts: <number-pad for="input-id" digits>.
const DIGITS = [
  ["7"], ["8"], ["9"], ["←", "← back"],
  ["4"], ["5"], ["6"], ["clear"],
  ["1"], ["2"], ["3"], ["0"],
];
const STEPS = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -COLUMNS, ArrowDown: COLUMNS };

class NumberPad extends HTMLElement {
  connectedCallback() {
    this.input = document.getElementById(this.getAttribute("for"));
    if (!this.input || this.querySelector(".pad")) return;
    this.input.inputMode = "none"; // the tablet's own keyboard would cover the pad
    this.input.autocomplete = "off";
    this.append(this.build());
  }

  build() {
    const pad = document.createElement("div");
    pad.className = "pad";
    pad.setAttribute("role", "group");
    const label = this.input.labels?.[0]?.textContent.trim();
    pad.setAttribute("aria-label", label ? `Number pad: ${label}` : "Number pad");
    const keys = this.hasAttribute("digits") ? DIGITS : KEYS;
    this.buttons = keys.map(([key, spoken], index) => this.key(key, spoken, index));
    pad.append(...this.buttons);
    pad.addEventListener("keydown", (event) => this.move(event));
    return pad;
  }

  key(key, spoken, index) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = key;
    button.dataset.key = key;
    button.tabIndex = index === 0 ? 0 : -1;
    if (key.length > 1 || key === "←") button.className = "pad-word";
    if (spoken) button.setAttribute("aria-label", spoken);
    button.addEventListener("pointerdown", (event) => event.preventDefault()); // the caret stays in the input
    button.addEventListener("click", () => this.press(key));
    return button;
  }

  move(event) {
    const at = this.buttons.indexOf(document.activeElement);
    const to = at + (STEPS[event.key] ?? NaN);
    if (at < 0 || !(to in this.buttons)) return;
    event.preventDefault();
    this.buttons[at].tabIndex = -1;
    this.buttons[to].tabIndex = 0;
    this.buttons[to].focus();
  }

  press(key) {
    if (this.input.disabled || this.input.readOnly) return;
    if (key === "clear") this.input.value = "";
    else if (key === "←") this.back();
    else if (UNITS.includes(key)) this.unit(key);
    else this.type(key === "space" ? " " : key);
    this.input.dispatchEvent(new Event("input", { bubbles: true }));
  }

  caret() {
    const end = this.input.value.length;
    return [this.input.selectionStart ?? end, this.input.selectionEnd ?? end];
  }

  type(text) {
    const [from, to] = this.caret();
    const room = this.input.maxLength < 0 ? Infinity : this.input.maxLength;
    if (this.input.value.length - (to - from) + text.length > room) return;
    this.input.setRangeText(text, from, to, "end");
  }

  back() {
    const [from, to] = this.caret();
    if (from === to && from === 0) return;
    this.input.setRangeText("", from === to ? from - 1 : from, to, "end");
  }

  // A second unit takes the place of the first: "38.1 mm" and then [in] is "38.1 in". After "1 in" and a
  // space a new number may follow, so only a unit at the very end is exchanged.
  unit(unit) {
    const bare = this.input.value.replace(/\s*(mm|in|thou)?\s*$/, "");
    const text = bare ? `${bare} ${unit}` : unit;
    if (this.input.maxLength >= 0 && text.length > this.input.maxLength) return;
    this.input.value = text;
    this.input.setSelectionRange(text.length, text.length);
  }
}

customElements.define("number-pad", NumberPad);
