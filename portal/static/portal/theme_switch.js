// Light, dark, or as the device: kept in this browser only.
const root = document.documentElement;
const group = document.querySelector(".theme-switch");

function show(choice) {
  for (const button of group.querySelectorAll("button")) {
    button.setAttribute("aria-pressed", String(button.dataset.themeChoice === choice));
  }
}

function choose(choice) {
  if (choice === "device") delete root.dataset.theme;
  else root.dataset.theme = choice;
  try {
    if (choice === "device") localStorage.removeItem("paper");
    else localStorage.setItem("paper", choice);
  } catch { /* then it lasts until the next page */ }
  show(choice);
}

if (group) {
  group.hidden = false;
  show(root.dataset.theme ?? "device");
  group.addEventListener("click", (event) => {
    const choice = event.target.closest("button")?.dataset.themeChoice;
    if (choice) choose(choice);
  });
}
