// Draws the part of a site that is in sight. Trees of one colour are one path: 20,000 of them take one pass.
import { slash, stamp } from "./map_colours.js";

export function drawMap(canvas, plan, data, scheme, chosen) {
  const pen = canvas.getContext("2d");
  const ratio = canvas.width / plan.width;
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, plan.width, plan.height);
  pen.fillStyle = scheme.colours.card;
  pen.fillRect(0, 0, plan.width, plan.height);
  const inSight = treesInSight(plan, data);
  drawTrees(pen, plan, data, scheme, inSight);
  drawBlocks(pen, plan, data, scheme);
  drawHeads(pen, plan, scheme);
  if (chosen >= 0) drawChosen(pen, plan, data, scheme, chosen);
}

function treesInSight(plan, data) {
  const found = [];
  for (let i = 0; i < data.code.length; i += 1) {
    const x = plan.left(data.col[i]);
    const y = plan.top(data.row[i]);
    if (x > -plan.cellWidth && y > -plan.cellHeight && x < plan.width && y < plan.height) found.push(i);
  }
  return found;
}

function drawTrees(pen, plan, data, scheme, inSight) {
  const gap = plan.cellWidth > 8 ? 1 : plan.cellWidth > 4 ? 0.5 : 0;
  const [width, height] = [plan.cellWidth - 2 * gap, plan.cellHeight - 2 * gap];
  const byColour = new Map();
  for (const i of inSight) {
    if (scheme.mark(i)) continue;
    const fill = scheme.fill(i);
    let path = byColour.get(fill);
    if (!path) byColour.set(fill, (path = new Path2D()));
    path.rect(plan.left(data.col[i]) + gap, plan.top(data.row[i]) + gap, width, height);
  }
  for (const [fill, path] of byColour) {
    pen.fillStyle = fill;
    pen.fill(path);
  }
  // Trees without a value are open squares: a place where nothing was planted is empty.
  pen.strokeStyle = scheme.colours.edge;
  pen.lineWidth = 1;
  for (const i of inSight) {
    if (scheme.isOpen(i) && !scheme.mark(i) && plan.cellWidth > 4) pen.strokeRect(plan.left(data.col[i]) + gap + 1.5, plan.top(data.row[i]) + gap + 1.5, width - 3, height - 3);
  }
  const line = Math.max(1, Math.min(3, plan.cellWidth / 8));
  const words = plan.cellWidth >= 34 && plan.cellHeight >= 16;
  pen.font = "11px system-ui, sans-serif";
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  for (const i of inSight) {
    const [x, y] = [plan.left(data.col[i]) + gap, plan.top(data.row[i]) + gap];
    const mark = scheme.mark(i);
    if (mark) stamp(pen, mark, x, y, width, height, scheme.colours.ink, line);
    else if (words && scheme.word(i)) {
      pen.fillStyle = scheme.dark(scheme.fill(i)) ? "#FFFFFF" : "#000000";
      pen.fillText(scheme.word(i), x + width / 2, y + height / 2, width - 2);
    } else if (scheme.turn(i) && plan.cellWidth > 5) slash(pen, x, y, width, height, scheme.dark(scheme.fill(i)) ? "#FFFFFF" : "#000000", scheme.turn(i));
  }
}

// A line wherever a tree's neighbour belongs to another block, or nothing stands beside it.
function drawBlocks(pen, plan, data, scheme) {
  const blockAt = (row, col) => {
    const i = plan.at.get(row * 1e6 + col);
    return i === undefined ? -1 : data.block[i];
  };
  const path = new Path2D();
  for (let i = 0; i < data.code.length; i += 1) {
    const [row, col, block] = [data.row[i], data.col[i], data.block[i]];
    const [x, y] = [plan.left(col), plan.top(row)];
    const [right, bottom] = [x + plan.cellWidth, y + plan.cellHeight];
    if (blockAt(row, col + 1) !== block) { path.moveTo(right, y); path.lineTo(right, bottom); }
    if (blockAt(row + 1, col) !== block) { path.moveTo(x, bottom); path.lineTo(right, bottom); }
    if (blockAt(row, col - 1) === -1) { path.moveTo(x, y); path.lineTo(x, bottom); }
    if (blockAt(row - 1, col) === -1) { path.moveTo(x, y); path.lineTo(right, y); }
  }
  pen.strokeStyle = scheme.colours.ink;
  pen.lineWidth = plan.cellWidth > 6 ? 2 : 1;
  pen.stroke(path);
}

// Numbers of rows and columns along the sheet's edge, as many as can be read.
function drawHeads(pen, plan, scheme) {
  pen.fillStyle = scheme.colours.card;
  pen.fillRect(0, 0, plan.width, 20);
  pen.fillRect(0, 0, 24, plan.height);
  pen.fillStyle = scheme.colours.quiet;
  pen.font = "11px system-ui, sans-serif";
  pen.textBaseline = "middle";
  pen.textAlign = "center";
  for (let col = plan.firstCol; col <= plan.lastCol; col += step(plan.cellWidth, 26)) {
    const x = plan.left(col) + plan.cellWidth / 2;
    if (x > 28) pen.fillText(String(col), x, 10);
  }
  pen.textAlign = "right";
  for (let row = plan.firstRow; row <= plan.lastRow; row += step(plan.cellHeight, 16)) {
    const y = plan.top(row) + plan.cellHeight / 2;
    if (y > 22) pen.fillText(String(row), 23, y);
  }
}

function step(cell, room) {
  return [1, 2, 5, 10, 20, 50, 100, 200, 500].find((n) => n * cell >= room) ?? 1000;
}

function drawChosen(pen, plan, data, scheme, i) {
  const [x, y] = [plan.left(data.col[i]), plan.top(data.row[i])];
  pen.lineWidth = 5;
  pen.strokeStyle = scheme.colours.card;
  pen.strokeRect(x - 1, y - 1, plan.cellWidth + 2, plan.cellHeight + 2);
  pen.lineWidth = 2.5;
  pen.strokeStyle = scheme.colours.ink;
  pen.strokeRect(x - 1, y - 1, plan.cellWidth + 2, plan.cellHeight + 2);
}
