// Where we stand with the shop's computer: "here", "away" (no answer) or "signed out" (it asks who we are).

const told = new EventTarget();
let now = navigator.onLine ? "here" : "away";

export function network() {
  return now;
}

export function say(state) {
  if (state === now) return;
  now = state;
  told.dispatchEvent(new Event("change"));
}

export function whenChanged(act) {
  told.addEventListener("change", act);
}

window.addEventListener("offline", () => say("away"));
