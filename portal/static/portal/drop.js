// Drop zones: files may be dropped on the frame; what was chosen is listed with its size before it is sent.

function size(bytes) {
  if (bytes < 1024) return `${bytes} bytes`;
  const kb = bytes / 1024;
  return kb < 1024 ? `${kb.toFixed(0)} kB` : `${(kb / 1024).toFixed(1)} MB`;
}

function list(zone, input) {
  const names = zone.querySelector(".drop-list");
  const limit = Number(zone.dataset.limitMb) * 1024 * 1024;
  let tooLarge = false;
  names.replaceChildren(
    ...[...input.files].map((file) => {
      const item = document.createElement("li");
      item.textContent = `${file.name}, ${size(file.size)}`;
      if (file.size > limit) {
        tooLarge = true;
        item.className = "wrong";
        item.textContent += `: larger than ${zone.dataset.limitMb} MB, part it into smaller files`;
      }
      return item;
    }),
  );
  names.hidden = input.files.length === 0;
  input.setCustomValidity(tooLarge ? `A file is larger than ${zone.dataset.limitMb} MB.` : "");
}

function accepted(input, files) {
  const kept = new DataTransfer();
  for (const file of files) {
    kept.items.add(file);
    if (!input.multiple) break;
  }
  return kept.files;
}

for (const zone of document.querySelectorAll(".drop")) {
  const input = zone.querySelector('input[type="file"]');
  input.addEventListener("change", () => list(zone, input));
  for (const kind of ["dragenter", "dragover"]) {
    zone.addEventListener(kind, (event) => {
      event.preventDefault();
      zone.classList.add("over");
    });
  }
  zone.addEventListener("dragleave", (event) => {
    if (!zone.contains(event.relatedTarget)) zone.classList.remove("over");
  });
  zone.addEventListener("drop", (event) => {
    event.preventDefault();
    zone.classList.remove("over");
    if (!event.dataTransfer.files.length) return;
    input.files = accepted(input, event.dataTransfer.files);
    input.dispatchEvent(new Event("change", { bubbles: true }));
  });
}
