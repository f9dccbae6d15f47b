// The board being tallied: its codes, its sizes, what is still missing. No page code here, and no network.
import { codesIn } from "./label.js";
import { boardWarnings } from "./warnings.js";

export const EMPTY = { log: null, codes: [], mark: "", flitch: "", thickness: "", width: "", length: "", changes: null };
export const SIZES = ["thickness", "width", "length"];
const LIMITS = { thickness: [1, 400], width: [5, 1000], length: [0.05, 13] };

/** A number as typed, with a comma or a point; null for anything else, and outside of what a board can be. */
export function sizeOf(name, text) {
  const value = /^\d+([.,]\d+)?$/.test(text.trim()) ? Number(text.trim().replace(",", ".")) : NaN;
  const [low, high] = LIMITS[name];
  return value >= low && value <= high ? value : null;
}

export class Typing {
  /** `content`: what was being typed when the page was last open. */
  constructor(known, content = {}) {
    this.known = known;
    this.now = { ...EMPTY, ...content };
  }

  get log() { return this.now.log ? (this.known.logs.get(this.now.log) ?? null) : null; }
  get isBegun() { return this.now.codes.length > 0 || Boolean(this.now.mark || this.now.width || this.now.changes); }

  /** What was scanned or typed into the first field: {did: "code" | "log" | "again" | "other log" | "unknown", ...}. */
  scan(text) {
    const codes = codesIn(text);
    if (codes) return this.read(codes);
    const log = this.known.logNamed(text);
    if (!log) return { did: "unknown", text };
    if (this.isBegun && this.now.log !== log.code) return { did: "other log", log };
    this.take(log);
    return { did: "log", log };
  }

  read(codes) {
    const log = this.known.logOf(codes[0]);
    if (!log || codes.some((code) => this.known.logOf(code) !== log)) return { did: "unknown", text: codes[0].text };
    if (this.isBegun && this.now.log !== log.code) return { did: "other log", log, codes };
    this.take(log);
    const there = new Set(this.now.codes.map((code) => code.text));
    const fresh = codes.filter((code) => !there.has(code.text));
    this.now.codes = [...this.now.codes, ...fresh];
    return { did: fresh.length ? "code" : "again", log, code: codes[0], on: this.now.changes ? null : this.known.boardWith(log, codes) };
  }

  /** Go to a log; the length is the log's own until another is typed. */
  take(log) {
    if (this.now.log === log.code) return;
    this.now.log = log.code;
    this.now.length = String(this.fullLength(log));
  }

  /** The log's length cut down to the crosscut module, in m. */
  fullLength(log) {
    const module = (this.known.pack.plan.crosscut_module_mm ?? 0) / 1000;
    const length = module > 0 ? Math.floor(log.length_m / module + 1e-9) * module : log.length_m;
    return Number(length.toFixed(3));
  }

  /** The field that waits to be filled: "scan", "mark", a size, or null when the board is whole. */
  missing() {
    if (!this.log) return "scan";
    if (!this.now.codes.length && !this.now.mark.trim() && !this.now.changes) return "mark";
    return SIZES.find((name) => sizeOf(name, this.now[name]) === null) ?? null;
  }

  /** What the board is called here: by its first code, or the log's code and its own mark. The server has the last
   * word, since another scanner may have read another of its codes first. */
  get code() {
    if (this.now.changes) return this.now.changes.code;
    return this.now.codes[0]?.text ?? `${this.now.log}-${this.now.mark.trim()}`;
  }

  board() {
    const cells = this.now.codes.map(({ end, row, col }) => [end, row, col]);
    const there = this.now.changes?.cells ?? [];
    return {
      code: this.code,
      thickness_mm: sizeOf("thickness", this.now.thickness), width_mm: sizeOf("width", this.now.width),
      length_m: sizeOf("length", this.now.length), flitch: this.now.flitch.trim() || null,
      cells: [...there.filter((cell) => !cells.some((own) => own.join() === cell.join())), ...cells],
    };
  }

  warnings() { return boardWarnings(this.log, this.known.pack.plan, this.board(), this.known.boardsOf(this.log)); }

  /** The entry as the server takes it, and the mark of the board. */
  entry(confirmed) {
    const board = this.board();
    const { code, flitch, cells, ...sizes } = board;
    const isNamed = !this.now.codes.length;
    return {
      part: {
        kind: "board", log: this.now.log, board: isNamed ? code : null, flitch, ...sizes, confirmed,
        codes: this.now.codes.map((c) => c.text),
      },
      board,
    };
  }

  /** The next board of the same log: thickness, length and flitch stay, the rest is fresh. */
  next() {
    const { log, thickness, length, flitch } = this.now;
    this.now = { ...EMPTY, log, thickness, length, flitch };
  }

  /** Change a board that is tallied already. One of this tablet keeps its codes, so that it is found by any of them. */
  change(board) {
    const codes = board.mark?.codes ?? [];
    this.now = {
      ...EMPTY, log: this.now.log, codes, flitch: board.flitch ?? "", changes: { code: board.code, cells: board.cells },
      thickness: String(board.thickness_mm), width: String(board.width_mm), length: String(board.length_m),
    };
  }
}
