// Paper or blueprint. The form works without this module by a POST; with it the page need not load again.

const YEAR_S = 31536000;
const root = document.documentElement;
const form = document.querySelector("[data-scheme-form]");

function inForce() {
  if (root.dataset.scheme) return root.dataset.scheme;
  return matchMedia("(prefers-color-scheme: dark)").matches ? "blueprint" : "paper";
}

function mark() {
  for (const button of form.querySelectorAll("button[name=scheme]")) {
    button.setAttribute("aria-pressed", String(button.value === inForce()));
  }
}

function choose(scheme) {
  root.dataset.scheme = scheme;
  const secure = location.protocol === "https:" ? "; secure" : "";
  document.cookie = `layshaft_scheme=${scheme}; path=/; max-age=${YEAR_S}; samesite=lax${secure}`;
  mark();
}

if (form) {
  form.hidden = false;
  mark();
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", mark);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (event.submitter) choose(event.submitter.value);
  });
}
