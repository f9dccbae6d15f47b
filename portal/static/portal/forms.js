// The list of errors takes the focus, so that it is read out first; a form is sent once however often it is pressed.
document.querySelector(".error-summary")?.focus();

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post" || event.defaultPrevented) return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  // Coming back with the browser's own button must find a form that can be sent again.
  window.addEventListener("pageshow", () => delete form.dataset.sent, { once: true });
});
document.addEventListener("htmx:afterRequest", (event) => delete event.detail.elt?.dataset?.sent);
