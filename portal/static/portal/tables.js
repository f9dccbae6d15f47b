// Tables: which columns are shown, and on a phone the cells behind each row's key columns.

const hiddenKey = (table) => `columns:${location.pathname}:${table.dataset.name}`;

function hiddenColumns(table) {
  try {
    return new Set(JSON.parse(localStorage.getItem(hiddenKey(table)) ?? "[]"));
  } catch {
    return new Set();
  }
}

function applyHidden(table, hidden) {
  const heads = [...table.tHead.rows[0].cells];
  heads.forEach((head, index) => {
    const off = hidden.has(head.dataset.column);
    for (const row of table.rows) {
      if (row.cells.length > index && !row.classList.contains("unfolded")) row.cells[index].hidden = off;
    }
  });
}

function columnChooser(frame, table) {
  const button = frame.querySelector(".columns-button");
  const heads = [...table.tHead.rows[0].cells].filter((head) => head.dataset.column);
  if (!button || heads.length < 3) return;
  const box = document.createElement("fieldset");
  box.className = "column-choice";
  box.id = `${frame.id}-columns`;
  box.hidden = true;
  box.append(Object.assign(document.createElement("legend"), { textContent: "Columns shown" }));
  const hidden = hiddenColumns(table);
  for (const head of heads) {
    const label = document.createElement("label");
    const tick = Object.assign(document.createElement("input"), { type: "checkbox", checked: !hidden.has(head.dataset.column) });
    tick.addEventListener("change", () => {
      if (tick.checked) hidden.delete(head.dataset.column);
      else hidden.add(head.dataset.column);
      try {
        localStorage.setItem(hiddenKey(table), JSON.stringify([...hidden]));
      } catch { /* then it lasts until the next page */ }
      applyHidden(table, hidden);
    });
    label.append(tick, ` ${head.dataset.label}`);
    box.append(label);
  }
  frame.querySelector(".table-line").after(box);
  button.hidden = false;
  button.setAttribute("aria-expanded", "false");
  button.setAttribute("aria-controls", box.id);
  button.addEventListener("click", () => {
    box.hidden = !box.hidden;
    button.setAttribute("aria-expanded", String(!box.hidden));
  });
  applyHidden(table, hidden);
}

function foldable(table) {
  const heads = [...table.tHead.rows[0].cells];
  if (heads.length < 3) return;
  if (heads.every((head) => head.classList.contains("more"))) {
    for (const row of table.rows) row.cells[0].classList.remove("more");
  }
  table.classList.add("folds");
  table.tHead.rows[0].append(Object.assign(document.createElement("th"), { className: "fold", innerHTML: '<span class="sr">More</span>' }));
  for (const row of table.tBodies[0].rows) {
    const cell = row.insertCell();
    cell.className = "fold";
    const button = Object.assign(document.createElement("button"), { type: "button", className: "link fold-button", textContent: "more" });
    button.setAttribute("aria-expanded", "false");
    button.setAttribute("aria-label", `more of ${row.cells[0].textContent.trim()}`);
    cell.append(button);
  }
  table.tBodies[0].addEventListener("click", (event) => {
    const button = event.target.closest(".fold-button");
    if (button) toggle(button, heads);
  });
}

function toggle(button, heads) {
  const row = button.closest("tr");
  const open = button.getAttribute("aria-expanded") === "true";
  button.setAttribute("aria-expanded", String(!open));
  button.textContent = open ? "more" : "less";
  if (open) {
    row.nextElementSibling.remove();
    return;
  }
  const list = document.createElement("dl");
  heads.forEach((head, index) => {
    if (!head.classList.contains("more") || row.cells[index].hidden) return;
    const pair = document.createElement("div");
    const name = Object.assign(document.createElement("dt"), { textContent: head.dataset.label });
    const value = document.createElement("dd");
    value.append(...[...row.cells[index].childNodes].map((node) => node.cloneNode(true)));
    pair.append(name, value);
    list.append(pair);
  });
  const below = document.createElement("tr");
  below.className = "unfolded";
  const cell = below.insertCell();
  cell.colSpan = heads.length + 1;
  cell.append(list);
  row.after(below);
}

// On a phone a table whose key columns are still too wide folds its last ones as well, the first never.
function fit(table) {
  const room = table.parentElement.clientWidth;
  if (!matchMedia("(max-width: 640px)").matches) return;
  const heads = [...table.tHead.rows[0].cells].filter((head) => !head.classList.contains("fold"));
  for (let i = heads.length - 1; i > 0 && table.offsetWidth > room; i -= 1) {
    for (const row of table.rows) {
      if (!row.classList.contains("unfolded")) row.cells[i]?.classList.add("more");
    }
  }
}

function prepare(root) {
  for (const table of root.querySelectorAll("table.data")) {
    if (table.parentElement.classList.contains("table-scroll")) continue;
    const box = Object.assign(document.createElement("div"), { className: "table-scroll" });
    table.replaceWith(box);
    box.append(table);
  }
  for (const table of root.querySelectorAll("table.data[data-name]:not(.ready)")) {
    table.classList.add("ready");
    columnChooser(table.closest(".table-frame"), table);
    foldable(table);
    if (table.classList.contains("folds")) fit(table);
  }
  for (const box of root.querySelectorAll(".table-scroll")) {
    // A box that scrolls must be reachable by the keyboard; one that does not must not be a stop on the way.
    if (box.scrollWidth > box.clientWidth || box.scrollHeight > box.clientHeight) box.tabIndex = 0;
  }
}

prepare(document);
document.addEventListener("htmx:load", (event) => prepare(event.detail.elt.parentElement ?? document));
