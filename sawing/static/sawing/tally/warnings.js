// What cannot well be of a board, asked about at once and without a network: the rules of
// sawing/calc/tally_warnings.py once more. A test holds the two together.

const LENGTH_ALLOWANCE_M = 0.05;
const CHORD_ALLOWANCE_MM = 10;
const THICKNESS_ALLOWANCE_MM = 2;
const WIDTH_ALLOWANCE_MM = 4;
const APART_PITCHES = 3;
const ROUNDING = 1e-9;
const radians = (degrees) => (degrees * Math.PI) / 180;

export const greenThickness = (plan, nominal) => nominal + plan.oversize_thickness_mm;
export const greenWidth = (plan, nominal) => nominal * (1 + plan.oversize_width_pct / 100);
export const volume = (board) => (board.thickness_mm * board.width_mm * board.length_m) / 1e6;

/** What is odd about a board beside the other boards of its log, as [{kind, text}]. */
export function boardWarnings(log, plan, board, others) {
  const rest = others.filter((other) => other.code !== board.code);
  return [
    ...moreWood(log, [...rest, board]),
    ...ofBoard(log, plan, board),
    ...rest.flatMap((other) => sameCell(board, other)),
    ...missingBeside(log, plan, board, rest),
  ];
}

/** (x, y) of a cell's middle from the pith, in mm, as looked at from the butt. */
export function place(sheet, row, col) {
  const x = (col - sheet.pith_col) * sheet.pitch_mm;
  const y = (sheet.pith_row - row) * sheet.pitch_mm;
  const turn = radians(sheet.top_end ? -sheet.turned_deg : sheet.turned_deg);
  return [x * Math.cos(turn) + y * Math.sin(turn), y * Math.cos(turn) - x * Math.sin(turn)];
}

/** Width of a log end along a line at that distance from its middle; 0 beside it. */
export function chord(end, distance_mm, angle_deg) {
  const turn = radians(angle_deg);
  const { along_x_mm: a, along_y_mm: b } = end;
  const squared = (a * Math.sin(turn)) ** 2 + (b * Math.cos(turn)) ** 2;
  const left = squared - distance_mm ** 2;
  return left > 0 ? (2 * a * b * Math.sqrt(left)) / squared : 0;
}

function moreWood(log, boards) {
  const out = boards.reduce((sum, board) => sum + volume(board), 0);
  if (log.volume_m3 === null || !(out > log.volume_m3 * (1 + ROUNDING))) return [];
  return [{ kind: "more_wood", text: `${out.toFixed(4)} m³ of boards from a log of ${log.volume_m3.toFixed(4)} m³` }];
}

function ofBoard(log, plan, board) {
  const found = [];
  if (board.length_m > log.length_m + LENGTH_ALLOWANCE_M) {
    found.push({ kind: "longer", text: `${board.length_m.toFixed(2)} m long, its log ${log.length_m.toFixed(2)} m` });
  }
  found.push(...wider(log, board));
  const thickest = Math.max(...plan.thicknesses_mm.map((t) => greenThickness(plan, t)));
  if (plan.thicknesses_mm.length && board.thickness_mm > thickest + THICKNESS_ALLOWANCE_MM) {
    found.push({ kind: "thicker", text: `${board.thickness_mm.toFixed(1)} mm thick, planned at most ${thickest.toFixed(1)} mm` });
  }
  const off = plan.widths_mm.map((w) => greenWidth(plan, w)).sort((a, b) => Math.abs(a - board.width_mm) - Math.abs(b - board.width_mm));
  if (off.length && Math.abs(off[0] - board.width_mm) > WIDTH_ALLOWANCE_MM) {
    found.push({ kind: "width", text: `${board.width_mm.toFixed(0)} mm wide, the nearest of the set is ${off[0].toFixed(0)} mm` });
  }
  return found;
}

function wider(log, board) {
  const count = (end) => board.cells.filter((cell) => cell[0] === end).length;
  const ends = [0, 1].filter(count).sort((p, q) => count(q) - count(p) || p - q);
  for (const end of ends) {
    const at = log.ends[end];
    if (!at?.sheet) continue;
    const places = board.cells.filter((cell) => cell[0] === end).map(([, row, col]) => place(at.sheet, row, col));
    const angle = direction(places, at.sheet.pitch_mm);
    const turn = radians(angle);
    const height = Math.abs(places.reduce((sum, [x, y]) => sum + y * Math.cos(turn) - x * Math.sin(turn), 0) / places.length);
    const widest = chord(at, Math.max(height - board.thickness_mm, 0), angle);
    if (board.width_mm <= widest + CHORD_ALLOWANCE_MM) return [];
    return [{ kind: "wider", text: `${board.width_mm.toFixed(0)} mm wide, and the log is ${widest.toFixed(0)} mm at ${height.toFixed(0)} mm from the pith` }];
  }
  return [];
}

function direction(places, pitch_mm) {
  const ordered = [...places].sort((p, q) => p[0] - q[0] || p[1] - q[1]);
  let best = [0, ordered[0], ordered[0]];
  for (const [at, p] of ordered.entries()) {
    for (const q of ordered.slice(at)) {
      const apart = Math.hypot(p[0] - q[0], p[1] - q[1]);
      if (apart > best[0]) best = [apart, p, q];
    }
  }
  const [apart, first, last] = best;
  return apart < APART_PITCHES * pitch_mm ? 0 : (Math.atan2(last[1] - first[1], last[0] - first[0]) * 180) / Math.PI;
}

const cellName = ([end, row, col]) => `${"BT"[end]}-${String(row).padStart(2, "0")}-${String(col).padStart(2, "0")}`;

function sameCell(board, other) {
  const theirs = new Set(other.cells.map(cellName));
  const shared = board.cells.map(cellName).filter((name) => theirs.has(name)).sort();
  return shared.length ? [{ kind: "same_cell", text: `cell ${shared[0]} was read on board ${other.code} too` }] : [];
}

const numberOf = (board) => (/^[0-9]{1,6}$/.test(board.flitch ?? "") ? Number(board.flitch) : null);

function missingBeside(log, plan, board, others) {
  const found = [];
  const own = numberOf(board);
  if (own !== null) {
    const numbered = others.filter((b) => numberOf(b) !== null).sort((p, q) => numberOf(p) - numberOf(q));
    if (numbered.every((b) => numberOf(b) !== own)) {
      const below = nearest(numbered.filter((b) => numberOf(b) < own), (p, q) => numberOf(p) > numberOf(q));
      const above = nearest(numbered.filter((b) => numberOf(b) > own), (p, q) => numberOf(p) < numberOf(q));
      if (below) found.push(...skipped(below, board));
      if (above) found.push(...skipped(board, above));
    }
  }
  for (const end of [0, 1]) {
    const [mine] = heights(log, [board], end);
    if (!mine) continue;
    const placed = heights(log, others, end).sort((p, q) => p[0] - q[0]);
    const under = placed.filter(([height]) => height <= mine[0]).slice(-1);
    const over = placed.filter(([height]) => height > mine[0]).slice(0, 1);
    for (const [height, other] of [...under, ...over]) found.push(...roomBetween(plan, other, board, Math.abs(mine[0] - height)));
  }
  const seen = new Set();
  return found.filter(({ text }) => !seen.has(text) && seen.add(text));
}

/** The first of those that none beats. */
const nearest = (boards, beats) => boards.reduce((best, board) => (best === null || beats(board, best) ? board : best), null);

function skipped(lower, upper) {
  const [low, high] = [numberOf(lower), numberOf(upper)];
  if (high - low < 2) return [];
  const which = high - low === 2 ? `flitch ${low + 1}` : `flitches ${low + 1} to ${high - 1}`;
  return [{ kind: "missing", text: `no board of ${which}, between ${lower.code} and ${upper.code}` }];
}

function roomBetween(plan, one, other, apart_mm) {
  if (numberOf(one) !== null && numberOf(other) !== null) return [];
  if (apart_mm <= one.thickness_mm + other.thickness_mm + plan.kerf_mm) return [];
  return [{ kind: "missing", text: `${apart_mm.toFixed(0)} mm from ${one.code} to ${other.code}: room for another board` }];
}

function heights(log, boards, end) {
  const sheet = log.ends[end]?.sheet;
  if (!sheet) return [];
  return boards.flatMap((board) => {
    const found = board.cells.filter((cell) => cell[0] === end).map(([, row, col]) => place(sheet, row, col)[1]);
    return found.length ? [[found.reduce((sum, h) => sum + h, 0) / found.length, board]] : [];
  });
}
