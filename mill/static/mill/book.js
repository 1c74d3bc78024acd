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
document.addEventListener("submit", () => {
  typed = false;
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

// Print buttons.
document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) window.print();
});
