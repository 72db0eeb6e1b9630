// The quiet mark of who else is at this unit, and on which position.

let others = [];

export function showPresent(here = others) {
  others = here;
  const words = others.map((one) => one.words).join("; ");
  const line = document.querySelector("[data-present]");
  if (line) {
    line.textContent = words ? `Also here: ${words}.` : "";
    line.hidden = !words;
  }
  for (const slot of document.querySelectorAll("[data-presence]")) {
    const names = others.filter((one) => one.position === slot.dataset.presence).map((one) => one.name);
    slot.textContent = names.length ? `${names.join(", ")} here` : "";
  }
}
