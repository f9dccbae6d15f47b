// The page on which a flitch is traced: points on a sheet, by pointer or keyboard, become the form's stations.

import { stationsOf } from "./trace_geometry.js";

const MODES = ["scale", "axis", "one", "other"];
const MOST = { scale: 2, axis: 2, one: 400, other: 400 };
const NAMES = { scale: "scale mark", axis: "end", one: "point of one edge", other: "point of the other edge" };
const GRID = { width: 5000, height: 1000, step: 100 };
const LARGEST_PX = 2400;

const root = document.querySelector("[data-tracing]");
if (root) start(root);

function start(root) {
  const sheet = root.querySelector("svg");
  const told = root.querySelector(".trace-told");
  const known = root.querySelector("#trace-known");
  const area = document.querySelector("[name=stations]");
  const state = { order: [], photo: "", width: GRID.width, height: GRID.height, at: null };

  const mode = () => root.querySelector("[name=trace-mode]:checked").value;
  const points = () => {
    const found = { scale: [], axis: [], one: [], other: [] };
    for (const p of state.order) found[p.kind].push(p);
    return found;
  };

  function put(x, y) {
    const kind = mode();
    const same = state.order.filter((p) => p.kind === kind);
    if (same.length >= MOST[kind]) state.order.splice(state.order.indexOf(same[0]), 1);
    state.order.push({ kind, x, y });
    tell(`${NAMES[kind]} set at ${Math.round(x)}, ${Math.round(y)}. `);
    renew();
  }

  function tell(words) {
    const found = stationsOf(points(), Number(known.value), !state.photo);
    told.textContent = words + (found.problem || `${found.stations.length} stations.`);
    if (!found.problem) {
      area.value = found.stations.map((s) => `${s.x}, ${s.left}, ${s.right}`).join("\n");
    }
  }

  function renew() {
    draw(sheet, state, points());
  }

  function inSheet(event) {
    const spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(sheet.getScreenCTM().inverse());
    return [Math.min(Math.max(spot.x, 0), state.width), Math.min(Math.max(spot.y, 0), state.height)];
  }

  sheet.addEventListener("click", (event) => {
    sheet.focus();
    const [x, y] = inSheet(event);
    state.at = { x, y };
    put(x, y);
  });

  const choose = (value) => {
    root.querySelector(`[name=trace-mode][value=${value}]`).checked = true;
  };

  sheet.addEventListener("keydown", (event) => {
    const step = (state.width / 500) * (event.shiftKey ? 10 : 1);
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const at = state.at ?? { x: state.width / 2, y: state.height / 2 };
    if (moves[event.key]) {
      const [dx, dy] = moves[event.key];
      state.at = {
        x: Math.min(Math.max(at.x + dx * step, 0), state.width),
        y: Math.min(Math.max(at.y + dy * step, 0), state.height),
      };
    } else if (event.key === "Enter") {
      state.at = at;
      put(at.x, at.y);
    } else if (event.key === "Backspace") {
      undo();
    } else if ("1234".includes(event.key)) {
      choose(MODES[Number(event.key) - 1]);
    } else {
      return;
    }
    event.preventDefault();
    renew();
  });

  function undo() {
    state.order.pop();
    tell("Taken back. ");
    renew();
  }

  root.querySelector("[data-undo]").addEventListener("click", undo);
  root.querySelector("[data-clear]").addEventListener("click", () => {
    state.order = [];
    tell("");
    renew();
  });
  known.addEventListener("input", () => tell(""));
  root.querySelector("#trace-photo").addEventListener("change", async (event) => {
    const file = event.target.files[0];
    if (!file) return;
    try {
      Object.assign(state, await pictureOf(file), { order: [], at: null });
      choose("scale");
      tell("The photo is laid under the sheet. ");
    } catch {
      told.textContent = "This file is no picture that the browser can show.";
    }
    renew();
  });
  renew();
  tell("");
}

/** A photo as a data address, no larger than the sheet needs, with its size. */
async function pictureOf(file) {
  const bitmap = await createImageBitmap(file);
  const factor = Math.min(1, LARGEST_PX / Math.max(bitmap.width, bitmap.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(bitmap.width * factor);
  canvas.height = Math.round(bitmap.height * factor);
  canvas.getContext("2d").drawImage(bitmap, 0, 0, canvas.width, canvas.height);
  return { photo: canvas.toDataURL("image/jpeg", 0.85), width: canvas.width, height: canvas.height };
}

function draw(sheet, state, points) {
  const unit = state.width / 500;
  sheet.setAttribute("viewBox", `0 0 ${state.width} ${state.height}`);
  sheet.replaceChildren();
  const add = (name, attributes) => {
    const element = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    sheet.append(element);
  };
  if (state.photo) {
    add("image", { href: state.photo, width: state.width, height: state.height });
  } else {
    for (let x = 0; x <= state.width; x += GRID.step) add("line", { x1: x, x2: x, y1: 0, y2: state.height, class: "trace-grid" });
    for (let y = 0; y <= state.height; y += GRID.step) add("line", { x1: 0, x2: state.width, y1: y, y2: y, class: "trace-grid" });
  }
  for (const kind of MODES) {
    const sorted = kind === "one" || kind === "other" ? [...points[kind]].sort((a, b) => a.x - b.x) : points[kind];
    add("polyline", { points: sorted.map((p) => `${p.x},${p.y}`).join(" "), class: `trace-line trace-${kind}` });
    for (const p of sorted) add("circle", { cx: p.x, cy: p.y, r: 2.2 * unit, class: `trace-point trace-${kind}` });
  }
  if (state.at) {
    const { x, y } = state.at;
    add("path", { d: `M${x - 8 * unit} ${y}H${x + 8 * unit}M${x} ${y - 8 * unit}V${y + 8 * unit}`, class: "trace-cross" });
  }
}
