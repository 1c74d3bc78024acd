// The book's only script for ordinary pages. Everything here has a way without it.

// A form is sent once: a second tap on its button does nothing until the page answers.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post" || event.defaultPrevented) return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
});
// Back from the next page: the form may be sent again.
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
});

// Leaving a page with something typed and not yet written down asks first.
let typed = false;
document.addEventListener("input", (event) => {
  if (event.target.closest("form.sheet")) typed = true;
});
document.addEventListener("submit", (event) => {
  // Looking for something in the box above leaves the page as a link does.
  if (!event.target.matches("form.find")) typed = false;
});
window.addEventListener("beforeunload", (event) => {
  if (typed) event.preventDefault();
});

// A list of choices that sends its form at once where the page asks for it.
document.addEventListener("change", (event) => {
  if (event.target.matches("[data-send-at-once]")) event.target.form.requestSubmit();
});

// Signing out leaves nothing of the mill in the phone but what was not sent yet.
document.addEventListener("submit", (event) => {
  if (!event.target.matches("form.who") || !globalThis.caches) return;
  caches.keys().then((names) => names.forEach((name) => caches.delete(name)));
});

// A list whose rows are ticked one by one can be ticked whole; without this script each is.
for (const button of document.querySelectorAll("[data-tick-all]")) button.hidden = false;
document.addEventListener("click", (event) => {
  const table = event.target.closest("[data-tick-all]")?.closest("table");
  if (!table) return;
  const boxes = [...table.querySelectorAll("tbody input[type=checkbox]:enabled")];
  const untick = boxes.every((box) => box.checked);
  for (const box of boxes) box.checked = !untick;
});

// On a phone the rooms lie in a strip that is wider than it: the one that is open stands in sight.
const room = document.querySelector(".rooms [aria-current]");
const strip = room?.closest("ul");
if (strip) strip.scrollLeft = room.offsetLeft - (strip.clientWidth - room.offsetWidth) / 2;

// Print buttons.
document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) window.print();
});

// Keys of the desk, listed at /keys/. None is taken while a field has the focus or with Ctrl, Alt or Meta.
const pages = new Map((document.body.dataset.keys || "").split(" ").filter(Boolean).map((said) => {
  const at = said.indexOf("=", 1);
  return [said.slice(0, at), said.slice(at + 1)];
}));
let before = "";

function goToRow(step) {
  const rows = [...document.querySelectorAll("main table.book tbody tr, main .hits li")].filter((row) => row.querySelector("a[href]"));
  const here = rows.indexOf(document.activeElement.closest("tr, li"));
  const row = rows[here < 0 ? (step > 0 ? 0 : rows.length - 1) : here + step];
  row?.querySelector("a[href]").focus();
}

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && event.target.closest?.("form.find")) {
    document.getElementById("found").replaceChildren();
    document.getElementById("find").focus();
    return;
  }
  if (!pages.size || event.defaultPrevented || event.isComposing || event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.target.closest?.("input, select, textarea, [contenteditable]") || document.querySelector("dialog[open]")) return;
  const key = before + event.key;
  before = "";
  if (key === "/") {
    event.preventDefault();
    document.getElementById("find").focus();
  } else if (key === "g") {
    before = "g";
  } else if (key === "j" || key === "k") {
    goToRow(key === "j" ? 1 : -1);
  } else if (pages.has(key)) {
    event.preventDefault();
    window.location.assign(pages.get(key));
  }
});
