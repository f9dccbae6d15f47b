// The map of a site: reads one JSON of compact arrays and keeps picture, legend and the named tree together.
import { Plan } from "./map_plan.js";
import { colouring, palette } from "./map_colours.js";
import { drawMap } from "./map_drawing.js";

const frame = document.querySelector("[data-map]");
const canvas = frame.querySelector("canvas");
const named = frame.querySelector(".map-tree");
const legend = frame.querySelector(".map-legend");
const choice = document.querySelector("#map-colour");
let data = null;
let plan = null;
let scheme = null;
let chosen = -1;
let waiting = 0;

function redraw() {
  waiting = 0;
  const began = performance.now();
  drawMap(canvas, plan, data, scheme, chosen);
  frame.dataset.drawn = (performance.now() - began).toFixed(1);
}

function soon() {
  waiting ||= requestAnimationFrame(redraw);
}

function size() {
  if (!data) return;
  const width = frame.querySelector(".map-sheet").clientWidth;
  plan.fit(width, Math.max(280, Math.round(innerHeight * 0.72)));
  const ratio = devicePixelRatio || 1;
  canvas.width = Math.round(plan.width * ratio);
  canvas.height = Math.round(plan.height * ratio);
  canvas.style.width = `${plan.width}px`;
  canvas.style.height = `${plan.height}px`;
  soon();
}

function place(i) {
  const parts = [`row ${data.row[i]}, col ${data.col[i]}`, `block ${data.blocks[data.block[i]]}`,
    `plot ${data.plots[data.plot[i]]}`, `clone ${data.clones[data.clone[i]].code}`, data.statuses[data.status[i]].toLowerCase()];
  if (data.trait) parts.push(scheme.said(i));
  return parts.join(" · ");
}

function name(i) {
  if (i < 0) {
    named.textContent = named.dataset.hint;
    return;
  }
  const link = document.createElement("a");
  link.href = data.tree_url.replace(data.here, encodeURIComponent(data.code[i]).replaceAll("%2F", "/"));
  link.textContent = data.code[i];
  link.className = "code";
  named.replaceChildren(link, ` ${place(i)}`);
}

function choose(i) {
  chosen = i;
  name(i);
  soon();
}

function writeLegend() {
  legend.replaceChildren(...scheme.legend.map((item) => {
    const line = document.createElement("li");
    const swatch = document.createElement("canvas");
    swatch.width = swatch.height = 36;
    swatch.setAttribute("aria-hidden", "true");
    scheme.swatch(swatch.getContext("2d"), item, 36);
    line.append(swatch, item.words);
    return line;
  }));
  canvas.setAttribute("aria-label", `${scheme.title}. ${data.code.length} trees. Arrow keys go from tree to tree, Enter opens one.`);
  frame.querySelector(".map-title").textContent = scheme.title;
}

async function load() {
  const answer = await fetch(`${frame.dataset.map}?colour=${encodeURIComponent(choice.value)}`, { headers: { accept: "application/json" } });
  if (!answer.ok || !answer.headers.get("content-type")?.includes("json")) throw new Error(String(answer.status));
  data = await answer.json();
  const view = plan;
  plan = new Plan(data);
  if (view) plan.looksLike(view);
  scheme = colouring(data, choice.value, palette(frame));
  chosen = -1;
  writeLegend();
  name(-1);
  size();
}

function start() {
  load().catch(() => {
    named.textContent = "The trees could not be read: you may be without network or signed out. Load the page again; the table of trees is below.";
  });
}

// Pointers: one drags or points, two pinch. A finger still scrolls the page while the whole site is in sight.
const fingers = new Map();
let moved = 0;

canvas.addEventListener("pointerdown", (event) => {
  fingers.set(event.pointerId, event);
  canvas.setPointerCapture(event.pointerId);
  moved = 0;
});
canvas.addEventListener("pointermove", (event) => {
  if (!plan) return;
  const before = fingers.get(event.pointerId);
  if (!before) {
    if (chosen < 0) name(plan.treeAt(event.offsetX, event.offsetY));
    return;
  }
  if (fingers.size === 2) {
    const other = [...fingers.values()].find((f) => f.pointerId !== event.pointerId);
    const distance = (a, b) => Math.hypot(a.offsetX - b.offsetX, a.offsetY - b.offsetY) || 1;
    plan.zoom(distance(event, other) / distance(before, other), (event.offsetX + other.offsetX) / 2, (event.offsetY + other.offsetY) / 2);
    moved = 99;
  } else {
    moved += Math.abs(event.offsetX - before.offsetX) + Math.abs(event.offsetY - before.offsetY);
    if (moved > 6) plan.pan(event.offsetX - before.offsetX, event.offsetY - before.offsetY);
  }
  fingers.set(event.pointerId, event);
  soon();
});
for (const over of ["pointerup", "pointercancel"]) {
  canvas.addEventListener(over, (event) => {
    if (fingers.delete(event.pointerId) && over === "pointerup" && moved <= 6 && plan) choose(plan.treeAt(event.offsetX, event.offsetY));
    if (plan) canvas.style.touchAction = plan.isWhole ? "pan-y" : "none";
  });
}
canvas.addEventListener("pointerleave", () => { if (plan && chosen < 0 && !fingers.size) name(-1); });
canvas.addEventListener("wheel", (event) => {
  if (!event.ctrlKey || !plan) return;
  event.preventDefault();
  zoom(event.deltaY < 0 ? 1.25 : 0.8, event.offsetX, event.offsetY);
}, { passive: false });

function zoom(by, x = plan.width / 2, y = plan.height / 2) {
  plan.zoom(by, x, y);
  canvas.style.touchAction = plan.isWhole ? "pan-y" : "none";
  soon();
}

const steps = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] };
canvas.addEventListener("keydown", (event) => {
  if (!plan) return;
  if (steps[event.key]) {
    event.preventDefault();
    choose(plan.next(chosen, ...steps[event.key]));
    plan.show(chosen);
  } else if (event.key === "Enter" && chosen >= 0) {
    named.querySelector("a").click();
  } else if (event.key === "+" || event.key === "=") zoom(1.5);
  else if (event.key === "-") zoom(1 / 1.5);
  else if (event.key === "Escape") choose(-1);
});

frame.querySelector(".map-tools").addEventListener("click", (event) => {
  const by = { in: 1.5, out: 1 / 1.5, whole: 0 }[event.target.dataset?.zoom];
  if (by === undefined || !plan) return;
  if (by) zoom(by);
  else { plan.whole(); zoom(1); }
});
frame.querySelector(".map-tools").hidden = false;
choice.addEventListener("change", () => {
  history.replaceState(null, "", `?colour=${encodeURIComponent(choice.value)}`);
  start();
});
choice.form.querySelector("button").hidden = true;
new ResizeObserver(size).observe(frame.querySelector(".map-sheet"));
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", recolour);
new MutationObserver(recolour).observe(document.documentElement, { attributes: true, attributeFilter: ["data-theme"] });

function recolour() {
  if (!data) return;
  scheme = colouring(data, choice.value, palette(frame));
  writeLegend();
  soon();
}

// Paper shows the whole site in the colours of light paper, finely.
addEventListener("beforeprint", () => {
  if (!data) return;
  const kept = plan.view();
  plan.whole();
  scheme = colouring(data, choice.value, palette(frame, "light"));
  writeLegend();
  canvas.width = plan.width * 3;
  canvas.height = plan.height * 3;
  drawMap(canvas, plan, data, scheme, -1);
  addEventListener("afterprint", () => { plan.take(kept); recolour(); size(); }, { once: true });
});

start();
