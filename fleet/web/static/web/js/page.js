// Small comforts on every page. Each page works without them.

// One menu open at a time; Escape closes it and gives the focus back.
const menus = [...document.querySelectorAll("details.menu")];
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  for (const menu of menus.filter((m) => m.open)) {
    menu.open = false;
    menu.querySelector("summary").focus();
  }
});
document.addEventListener("click", (event) => {
  for (const menu of menus) if (menu.open && !menu.contains(event.target)) menu.open = false;
});

// A form with faults: the list of them takes the focus, so that a screen reader begins there.
document.querySelector(".notice[role=alert][tabindex]")?.focus();

// Sent once: a second press on a slow line does nothing. A download leaves the page as it was, hence the time limit.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post") return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  setTimeout(() => delete form.dataset.sent, 8000);
});
addEventListener("pageshow", () => document.querySelectorAll("form[data-sent]").forEach((f) => delete f.dataset.sent));

// Pick all rows of a table at once.
for (const all of document.querySelectorAll("input[data-check-all]")) {
  const boxes = () => [...document.querySelectorAll(`input[type=checkbox][name="${CSS.escape(all.dataset.checkAll)}"]`)];
  all.closest("[hidden]")?.removeAttribute("hidden");
  all.addEventListener("change", () => boxes().forEach((box) => (box.checked = all.checked)));
}

// Print buttons appear only where they work.
for (const button of document.querySelectorAll("button[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => print());
}
