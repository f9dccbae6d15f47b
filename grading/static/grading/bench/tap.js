// A press on the drawing of a board becomes a place in the line below: along, surface, across.

const SHORT = { face1: "f1", face2: "f2", edge1: "e1", edge2: "e2" };
const lines = document.querySelector("[data-lines]");

document.querySelector("[data-tap]")?.addEventListener("click", (event) => {
  const face = event.target.closest(".board-face");
  if (!face || !lines) return;
  const box = face.getBoundingClientRect();
  const along = Math.round(((event.clientX - box.left) / box.width) * Number(face.dataset.length));
  const across = Math.round(((event.clientY - box.top) / box.height) * Number(face.dataset.across));
  const before = lines.value && !lines.value.endsWith("\n") ? `${lines.value}\n` : lines.value;
  const place = `${along} ${SHORT[face.dataset.surface]} ${across}`;
  lines.value = `${before} ${place}`;
  lines.focus();
  lines.setSelectionRange(before.length, before.length);
});
