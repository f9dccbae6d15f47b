// Rows of the rule set's form are added, moved and removed without leaving the place one stands in. The server makes
// the form anew from what was typed; without this script the same buttons load the page.

function stand(form) {
  const name = form.dataset.focus;
  const field = name && document.getElementById(`id-${name}`);
  if (field) field.focus();
}

async function change(form, button) {
  const sent = new FormData(form, button);
  form.setAttribute("aria-busy", "true");
  const answer = await fetch(form.action, { method: "POST", body: sent, credentials: "same-origin" });
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const made = page.querySelector("form[data-rules]");
  if (!answer.ok || !made) throw new Error(`answered ${answer.status}`);
  form.replaceWith(made);
  stand(made);
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  const button = event.submitter;
  if (!form.matches("form[data-rules]") || !button || button.value === "save") return;
  event.preventDefault();
  change(form, button).catch(() => {
    // The page's own way: send the form with what the button says.
    const said = document.createElement("input");
    said.type = "hidden";
    said.name = button.name;
    said.value = button.value;
    form.append(said);
    form.submit();
  });
});

const form = document.querySelector("form[data-rules]");
if (form) stand(form);
const errors = document.getElementById("errors");
if (errors) errors.focus();
