// What colour, mark and word each tree has: by clone, block, status, or the values of a trait.
const NAMES = ["paper", "ink", "quiet", "line", "edge", "card", ...Array.from({ length: 8 }, (_, i) => `clone-${i}`),
  ...Array.from({ length: 10 }, (_, i) => `grade-${i}`)];
export const GONE = { 1: "dead", 2: "missing", 3: "felled" }; // by place among the statuses

// The colours of the style sheet as they are now, or as on light paper.
export function palette(root, scheme = "") {
  const probe = document.createElement("span");
  root.append(probe);
  if (scheme) probe.style.colorScheme = scheme;
  const found = {};
  for (const name of NAMES) {
    probe.style.color = `var(--${name})`;
    found[name] = getComputedStyle(probe).color;
  }
  probe.remove();
  return found;
}

const parts = (colour) => colour.match(/[\d.]+/g).slice(0, 3).map(Number);

function dark(colour) {
  const [r, g, b] = parts(colour);
  return 0.299 * r + 0.587 * g + 0.114 * b < 140;
}

// Viridis from dark (low) to light (high), between ten stops.
function viridis(share, colours) {
  const at = (1 - Math.min(1, Math.max(0, share))) * 9;
  const [low, high] = [parts(colours[`grade-${Math.floor(at)}`]), parts(colours[`grade-${Math.ceil(at)}`])];
  const mixed = low.map((v, k) => Math.round(v + (high[k] - v) * (at % 1)));
  return `rgb(${mixed.join(" ")})`;
}

export function colouring(data, choice, colours) {
  if (data.trait) return data.trait.kind === "text" ? byNames(data, colours, data.trait.value, data.trait.title) : byTrait(data, colours);
  if (choice === "block") return byNames(data, colours, data.block.map((b) => data.blocks[b]), "Trees by block", data.blocks);
  if (choice === "status") return byStatus(data, colours);
  return byClone(data, colours);
}

function markOf(data, i) {
  return data.trait?.mark[i] || GONE[data.status[i]] || "";
}

function goneItems(data, colours) {
  const seen = new Set(data.code.map((_, i) => markOf(data, i)));
  return ["dead", "missing", "felled", "skipped"].filter((mark) => seen.has(mark))
    .map((mark) => ({ words: mark[0].toUpperCase() + mark.slice(1), fill: colours.card, mark }));
}

function scheme(data, colours, title, look, items, said = () => "") {
  const fills = data.code.map((_, i) => look(i));
  return {
    title, said, colours,
    fill: (i) => fills[i].fill,
    turn: (i) => fills[i].turn ?? 0,
    word: (i) => fills[i].word ?? "",
    isOpen: (i) => fills[i].open ?? false,
    mark: (i) => markOf(data, i),
    legend: [...items, ...goneItems(data, colours)],
    dark,
    swatch(pen, item, side) {
      pen.fillStyle = item.fill;
      pen.fillRect(3, 3, side - 6, side - 6);
      if (item.turn) slash(pen, 3, 3, side - 6, side - 6, dark(item.fill) ? "#FFFFFF" : "#000000", item.turn);
      pen.strokeStyle = colours.ink;
      pen.lineWidth = 2;
      if (item.mark) stamp(pen, item.mark, 3, 3, side - 6, side - 6, colours.ink, 3);
      else pen.strokeRect(3, 3, side - 6, side - 6);
    },
  };
}

function byClone(data, colours) {
  const looks = data.clones.map((c) => ({ fill: colours[`clone-${c.colour % 8}`], turn: Math.floor(c.colour / 8), word: c.code, words: c.code }));
  const items = [...looks].sort((a, b) => a.words.localeCompare(b.words, "en", { numeric: true }));
  return scheme(data, colours, "Trees by clone", (i) => looks[data.clone[i]], items);
}

function byNames(data, colours, names, title, order = null) {
  const known = order ?? [...new Set(names.filter((n) => n !== null))].sort((a, b) => String(a).localeCompare(String(b), "en", { numeric: true }));
  const looks = new Map(known.map((word, k) => [word, { fill: colours[`clone-${k % 8}`], turn: Math.floor(k / 8), word, words: word }]));
  const nothing = { fill: colours.card, word: "", open: true };
  return scheme(data, colours, title, (i) => looks.get(names[i]) ?? nothing, [...looks.values()], (i) => names[i] ?? "no value");
}

function byStatus(data, colours) {
  const standing = { fill: colours["clone-2"], word: "" };
  const gone = { fill: colours.card, word: "" };
  const items = [{ ...standing, words: data.statuses[0] }];
  return scheme(data, colours, "Trees by status", (i) => (data.status[i] === 0 ? standing : gone), items);
}

// The colours run over the middle 96 of 100 values: one slip of the hand must not take the contrast from all others.
function range(known, points) {
  if (points.length) return [points[0].value, points.at(-1).value];
  if (known.length < 50) return [known[0], known.at(-1)];
  const at = (share) => known[Math.round(share * (known.length - 1))];
  return [at(0.02), at(0.98)];
}

function byTrait(data, colours) {
  const { value, decimals, unit, points, title } = data.trait;
  const known = value.filter((v) => v !== null).sort((a, b) => a - b);
  const [low, high] = range(known, points);
  const share = (v) => (high > low ? (v - low) / (high - low) : 0.5);
  const wording = new Map(points.map((p) => [p.value, p.text]));
  const said = (v) => (wording.has(v) ? `${v} ${wording.get(v)}` : `${v.toFixed(decimals)} ${unit}`.trim());
  const nothing = { fill: colours.card, word: "", open: true };
  const steps = points.length ? points.map((p) => p.value)
    : known.length ? [...new Set([0, 0.25, 0.5, 0.75, 1].map((s) => low + s * (high - low)))] : [];
  const beyond = (v) => (v === low && known[0] < low ? "up to " : v === high && known.at(-1) > high ? "from " : "");
  const items = steps.map((v) => ({ words: beyond(v) + said(v), fill: viridis(share(v), colours) }));
  if (known.length < value.length) items.push({ words: "No value", fill: colours.card });
  return scheme(data, colours, title, (i) => (value[i] === null ? nothing : { fill: viridis(share(value[i]), colours), word: value[i].toFixed(decimals) }),
    items, (i) => (value[i] === null ? data.trait.mark[i] || "no value" : said(value[i])));
}

// Marks that need no colour: a cross for dead, an empty ring for missing, a bar for felled, a dot for skipped.
export function stamp(pen, mark, x, y, width, height, ink, line) {
  pen.strokeStyle = pen.fillStyle = ink;
  pen.lineWidth = line;
  pen.beginPath();
  if (mark === "dead") {
    pen.moveTo(x + width * 0.15, y + height * 0.15);
    pen.lineTo(x + width * 0.85, y + height * 0.85);
    pen.moveTo(x + width * 0.85, y + height * 0.15);
    pen.lineTo(x + width * 0.15, y + height * 0.85);
  } else if (mark === "missing") {
    pen.arc(x + width / 2, y + height / 2, Math.min(width, height) * 0.32, 0, 2 * Math.PI);
  } else if (mark === "felled") {
    pen.moveTo(x + width * 0.1, y + height / 2);
    pen.lineTo(x + width * 0.9, y + height / 2);
  } else {
    pen.arc(x + width / 2, y + height / 2, Math.min(width, height) * 0.12, 0, 2 * Math.PI);
    pen.fill();
  }
  pen.stroke();
}

// A colour that comes again is struck through: rising the second time, falling the third, both from the fourth on.
export function slash(pen, x, y, width, height, ink, turn) {
  pen.strokeStyle = ink;
  pen.lineWidth = Math.max(1, width / 10);
  pen.beginPath();
  if (turn !== 2) {
    pen.moveTo(x, y + height);
    pen.lineTo(x + width, y);
  }
  if (turn >= 2) {
    pen.moveTo(x, y);
    pen.lineTo(x + width, y + height);
  }
  pen.stroke();
}
