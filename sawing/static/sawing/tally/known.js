// What the tablet knows of a study: the pack as last fetched, and over it what this tablet said since.
import { volume } from "./warnings.js";

export class Known {
  /** `marks`: what this tablet said of boards, [{assessment: study, tree: board, log, board: {...} or null, id}]. */
  constructor(pack, marks) {
    this.pack = pack;
    this.marks = new Map(marks.filter((mark) => mark.assessment === pack.study).map((mark) => [mark.tree, mark]));
    this.logs = new Map(pack.logs.map((log) => [log.code, log]));
    this.bySerial = new Map(pack.logs.flatMap((log) => log.serials.map((serial) => [serial, log])));
  }

  logOf(code) { return this.bySerial.get(code.serial) ?? null; }

  /** A log by what was typed: its code, in any case. */
  logNamed(text) {
    const wanted = text.trim().toUpperCase();
    return this.logs.get(text.trim()) ?? [...this.logs.values()].find((log) => log.code.toUpperCase() === wanted) ?? null;
  }

  /** Boards of a log, oldest first; those this tablet said of last. */
  boardsOf(log) {
    const fresh = [...this.marks.values()].filter((mark) => mark.log === log.code);
    const told = new Set(fresh.map((mark) => mark.tree));
    return [
      ...log.boards.filter((board) => !told.has(board.code)),
      ...fresh.filter((mark) => mark.board).map((mark) => ({ ...mark.board, mark })),
    ];
  }

  /** The board on which one of these codes was read, or that is called so. */
  boardWith(log, codes) {
    const texts = new Set(codes.map((code) => code.text));
    const cells = new Set(codes.map(({ end, row, col }) => [end, row, col].join()));
    return this.boardsOf(log).find((board) => texts.has(board.code) || board.cells.some((cell) => cells.has(cell.join()))) ?? null;
  }

  /** Boards, volumes in m³ and recovery of a log; kerf as sawing/calc/balance.py estimates it, null where it cannot. */
  balance(log) {
    const boards = this.boardsOf(log);
    const out = boards.reduce((sum, board) => sum + volume(board), 0);
    const flitches = new Set(boards.map((board) => board.flitch));
    const face = boards.reduce((sum, board) => sum + (board.width_mm / 1000) * board.length_m, 0);
    const isKerfKnown = boards.length > 0 && this.pack.plan.kerf_mm > 0 && !flitches.has(null);
    const kerf = isKerfKnown ? (this.pack.plan.kerf_mm / 1000) * (face / flitches.size) * (flitches.size + 1) : null;
    const into = log.volume_m3;
    return {
      boards: boards.length, into, out, kerf,
      rest: into === null ? null : into - out - (kerf ?? 0),
      recovery: into ? out / into : null,
    };
  }
}

/** Marks that a fresh pack makes needless: their entries have arrived and were in it. */
export function settled(marks, unsent, study) {
  return marks.filter((mark) => mark.assessment === study && !unsent.has(mark.id));
}
