// The right side of the page: how the log stands, and the boards tallied from it, the last one first.
import { by, button, counted, el, fill } from "../../trials/field/dom.js";
import { volume } from "./warnings.js";

const MOST = 12;
const cubic = (value) => (value === null ? "not known" : `${value.toFixed(4)} m³`);

export class LogSide {
  constructor({ onWithdraw, onChange, onNote }) {
    Object.assign(this, { onWithdraw, onChange });
    by("note-form").addEventListener("submit", async (event) => {
      event.preventDefault();
      const words = by("words").value.trim();
      if (!words) return;
      await onNote(words);
      by("words").value = "";
      by("note").open = false;
    });
  }

  draw(known, log) {
    by("log-head").textContent = log ? `Log ${log.code}` : "The log";
    by("note").hidden = !log;
    if (!log) {
      fill(by("balance"), el("p", {}, known?.pack.logs.length ? "Scan a label, or type the code of a log." : "No logs on this tablet yet."));
      fill(by("boards"));
      return;
    }
    fill(by("balance"), ...this.balance(known.balance(log)));
    const boards = known.boardsOf(log).reverse();
    fill(by("boards"), ...boards.slice(0, MOST).map((board, at) => this.row(board, at === 0)),
      boards.length > MOST ? el("p", {}, `and ${counted(boards.length - MOST, "board")} before these`) : null);
  }

  balance({ boards, into, out, kerf, rest, recovery }) {
    const share = into ? Math.min(out / into, 1) : 0;
    return [
      el("p", { class: "line" }, el("strong", {}, counted(boards, "board")), `, ${cubic(out)}${into ? ` of ${cubic(into)}, ${(100 * recovery).toFixed(1)} %` : ""}`),
      el("progress", { max: 1, value: share, "aria-label": "Share of the log in boards" }),
      el("p", { class: "line" }, `${kerf === null ? "Kerf with the rest" : `Kerf, estimated, ${cubic(kerf)}`}; rest ${cubic(rest)}`),
    ];
  }

  row(board, isLast) {
    const sizes = `${board.thickness_mm} × ${board.width_mm} mm, ${board.length_m} m`;
    return el("article", { class: "card saw-row" },
      el("p", {}, el("span", { class: "code" }, board.code), ` ${sizes}, ${volume(board).toFixed(4)} m³${board.flitch ? `, flitch ${board.flitch}` : ""}`),
      el("div", { class: "keys two" },
        button("Change", () => this.onChange(board), "key plain"),
        button(isLast && board.mark ? "Undo" : "Withdraw", () => this.onWithdraw(board), "key plain")));
  }
}
