// After a form came back with mistakes, the summary takes the focus, so that it is read first.

function attend(scope) {
  const summary = scope.querySelector("[data-focus]");
  if (summary) summary.focus();
}

attend(document);
document.addEventListener("htmx:afterSwap", (event) => attend(event.target));

// A link of the summary leads into the control itself, or into the first of a group of choices.
document.addEventListener("click", (event) => {
  const link = event.target.closest(".summary a[href^='#']");
  if (!link) return;
  const aim = document.getElementById(link.hash.slice(1));
  const control = aim && (aim.matches("input, select, textarea") ? aim : aim.querySelector("input, select, textarea"));
  if (!control) return;
  event.preventDefault();
  control.focus();
});
