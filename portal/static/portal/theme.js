// Runs before the first paint, so that a page never flashes in the wrong theme. Not a module on purpose.
(function () {
  try {
    const choice = localStorage.getItem("paper");
    if (choice === "light" || choice === "dark") document.documentElement.dataset.theme = choice;
  } catch { /* storage is closed to us: the device decides */ }
})();
