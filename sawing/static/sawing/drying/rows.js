// Rows of boards: a wedge scanner's Enter goes on to the next field instead of sending the form; rows are added as
// they are needed. Without this script the page still has its blank rows and sends as usual.
const rows = document.querySelector("[data-rows]");
const empty = document.querySelector("template[data-empty-row]");
const add = document.querySelector("[data-add-row]");
const total = rows && document.querySelector(`[name="${rows.dataset.rows}-TOTAL_FORMS"]`);

function addRow() {
  const html = empty.innerHTML.replaceAll("__prefix__", total.value);
  rows.insertAdjacentHTML("beforeend", html);
  total.value = Number(total.value) + 1;
  const row = rows.lastElementChild;
  const id = row.querySelector('[name$="-client_id"]');
  if (id) id.value = crypto.randomUUID ? crypto.randomUUID() : madeId();
  return row;
}

function madeId() {
  // Pages without HTTPS have no randomUUID; getRandomValues is everywhere.
  const b = crypto.getRandomValues(new Uint8Array(16));
  b[6] = (b[6] & 0x0f) | 0x40;
  b[8] = (b[8] & 0x3f) | 0x80;
  const hex = [...b].map((x) => x.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

if (rows && empty && total) {
  add.hidden = false;
  add.addEventListener("click", () => addRow().querySelector("input:not([type=hidden])").focus());
  rows.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !event.target.matches("input, select")) return;
    event.preventDefault();
    const row = event.target.closest(".typed-row");
    const fields = [...row.querySelectorAll("input:not([type=hidden]), select")];
    const at = fields.indexOf(event.target);
    // From the board to its value, from the value to the next row's board; what is optional is reached by touch or Tab.
    if (at === 0) {
      fields[1].focus();
      return;
    }
    const next = row.nextElementSibling ?? addRow();
    const board = next.querySelector("input:not([type=hidden])");
    (board.value ? next.querySelectorAll("input:not([type=hidden]), select")[1] : board).focus();
  });
}

const tickAll = document.querySelector("[data-tick-all]");
if (tickAll) {
  tickAll.hidden = false;
  tickAll.addEventListener("click", () => {
    for (const box of document.querySelectorAll(".ticks input[type=checkbox]")) box.checked = true;
  });
}
