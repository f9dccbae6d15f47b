// Where trees lie on the sheet: rows down, columns across, in the proportions of the spacing.
const MARGIN = 8;
const HEADS = 22; // room for numbers of rows and columns

export class Plan {
  constructor(data) {
    this.data = data;
    const extent = (values) => values.reduce(([low, high], v) => [Math.min(low, v), Math.max(high, v)], [Infinity, -Infinity]);
    [this.firstRow, this.lastRow] = data.row.length ? extent(data.row) : [1, 1];
    [this.firstCol, this.lastCol] = data.col.length ? extent(data.col) : [1, 1];
    const [down, across] = data.spacing ?? [1, 1];
    this.aspect = down / across;
    this.at = new Map(data.row.map((row, i) => [row * 1e6 + data.col[i], i]));
    this.scale = 1;
    this.x = this.y = 0;
    this.width = this.height = 0;
  }

  get columns() { return this.lastCol - this.firstCol + 1; }
  get rows() { return this.lastRow - this.firstRow + 1; }
  get cellWidth() { return this.base * this.scale; }
  get cellHeight() { return this.base * this.scale * this.aspect; }
  get isWhole() { return this.scale <= 1.001; }

  // The whole site fits the sheet at scale 1; a cell is never drawn wider than 40 pixels.
  fit(width, mostHeight) {
    this.width = width;
    const room = width - HEADS - 2 * MARGIN;
    this.base = Math.min(40, room / this.columns, (mostHeight - HEADS - 2 * MARGIN) / (this.rows * this.aspect));
    this.height = Math.ceil(this.base * this.rows * this.aspect + HEADS + 2 * MARGIN);
    this.keepInside();
  }

  whole() { this.scale = 1; this.x = this.y = 0; }
  view() { return { scale: this.scale, x: this.x, y: this.y }; }
  take(view) { Object.assign(this, view); }
  looksLike(other) { this.take(other.view()); }

  left(col) { return HEADS + MARGIN + (col - this.firstCol) * this.cellWidth + this.x; }
  top(row) { return HEADS + MARGIN + (row - this.firstRow) * this.cellHeight + this.y; }

  treeAt(x, y) {
    if (x < HEADS || y < HEADS) return -1;
    const col = this.firstCol + Math.floor((x - this.x - HEADS - MARGIN) / this.cellWidth);
    const row = this.firstRow + Math.floor((y - this.y - HEADS - MARGIN) / this.cellHeight);
    return this.at.get(row * 1e6 + col) ?? -1;
  }

  pan(dx, dy) {
    this.x += dx;
    this.y += dy;
    this.keepInside();
  }

  zoom(by, x, y) {
    const scale = Math.min(Math.max(this.scale * by, 1), Math.max(60 / this.base, 1));
    const change = scale / this.scale;
    const [ox, oy] = [HEADS + MARGIN, HEADS + MARGIN];
    this.x = (this.x + ox - x) * change + x - ox;
    this.y = (this.y + oy - y) * change + y - oy;
    this.scale = scale;
    this.keepInside();
  }

  keepInside() {
    const least = (room, length) => Math.min(0, room - HEADS - 2 * MARGIN - length);
    this.x = Math.min(0, Math.max(this.x, least(this.width, this.columns * this.cellWidth)));
    this.y = Math.min(0, Math.max(this.y, least(this.height, this.rows * this.cellHeight)));
  }

  // The next tree in a direction; gaps are passed over. Without a tree: the first one.
  next(i, down, across) {
    if (i < 0) return this.data.code.length ? 0 : -1;
    let [row, col] = [this.data.row[i] + down, this.data.col[i] + across];
    while (row >= this.firstRow && row <= this.lastRow && col >= this.firstCol && col <= this.lastCol) {
      const found = this.at.get(row * 1e6 + col);
      if (found !== undefined) return found;
      row += down;
      col += across;
    }
    return i;
  }

  show(i) {
    if (i < 0) return;
    const [x, y] = [this.left(this.data.col[i]), this.top(this.data.row[i])];
    this.pan(Math.max(0, HEADS - x) + Math.min(0, this.width - MARGIN - this.cellWidth - x),
      Math.max(0, HEADS - y) + Math.min(0, this.height - MARGIN - this.cellHeight - y));
  }
}
