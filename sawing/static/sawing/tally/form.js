// The left side of the page: scan field, sizes by key or by hand, doubts, the big key.
import { by, button, el, fill } from "../../trials/field/dom.js";
import { codesIn } from "./label.js";
import { sizeOf, SIZES } from "./typing.js";
import { greenThickness, greenWidth, place } from "./warnings.js";

const FIELDS = ["mark", ...SIZES, "flitch"];
const ORDER = ["scan", "mark", ...SIZES];

export class Form {
  constructor({ onKeep, onChange, onProblem }) {
    Object.assign(this, { onKeep, onChange, onProblem, typing: null, isBusy: false });
    by("scan-form").addEventListener("submit", (event) => { event.preventDefault(); this.scanned(by("scan")); });
    by("sizes").addEventListener("submit", (event) => { event.preventDefault(); this.keep(); });
    for (const name of FIELDS) {
      by(name).addEventListener("input", () => this.set(name, by(name).value));
      by(name).addEventListener("keydown", (event) => this.keyed(event, name));
    }
    by("next-flitch").addEventListener("click", () => this.nextFlitch());
    by("clear").addEventListener("click", () => this.clear());
    by("doubt-no").addEventListener("click", () => { this.doubt([]); this.focus("width"); });
    by("doubt-yes").addEventListener("click", () => this.keep(true));
  }

  open(typing) {
    this.typing = typing;
    this.draw();
    if (document.activeElement === document.body) this.focus("scan");
  }

  focus(name) { by(name).focus(); by(name).select?.(); }
  say(words, isWrong = false) { by("said").textContent = words; by("said").classList.toggle("wrong", isWrong); }

  set(name, value) {
    this.typing.now[name] = value;
    if (by(name).value !== value) by(name).value = value;
    this.doubt([]);
    this.onChange();
    this.press();
  }

  /** Enter goes to what is missing; a scanner that typed into a size is heard all the same. */
  keyed(event, name) {
    if (event.key !== "Enter") return;
    event.preventDefault();
    if (codesIn(by(name).value)) {
      const code = by(name).value;
      this.set(name, "");
      by("scan").value = code;
      this.scanned(by("scan"));
      return;
    }
    const missing = this.typing.missing();
    const here = ORDER.indexOf(name);
    if (missing && (missing === name || ORDER.indexOf(missing) < here || here < 0)) { this.keep(); return; }
    const following = ORDER[here + 1];
    if (name === "flitch" || !following) this.keep();
    else this.focus(following);
  }

  scanned(field) {
    const text = field.value.trim();
    field.value = "";
    if (!this.typing) { this.say("The logs of this study are not on the tablet yet.", true); return; }
    if (!text) {
      const missing = this.typing.missing();
      if (missing === null) this.keep();
      else this.focus(missing);
      return;
    }
    this.heard(this.typing.scan(text));
  }

  heard({ did, log, code, codes, on, text }) {
    if (did === "unknown") this.say(codesIn(text ?? "") ? `${text} is a label of no log of this study.` : `“${text}” is no label's code and no log: read it again.`, true);
    else if (did === "other log") this.offerOther(log, codes);
    else if (did === "log") this.say(`Log ${log.code}. Scan a label of the board, or write a mark on it and type that.`);
    else if (did === "again") this.say(`${code.cell} was read before.`);
    else if (on) { this.changeBoard(on); return; } else this.say(this.where(log, code));
    this.doubt([]);
    this.draw();
    this.onChange();
  }

  where(log, code) {
    const sheet = log.ends[code.end]?.sheet;
    if (!sheet) return `${code.cell} of log ${log.code}.`;
    const [x, y] = place(sheet, code.row, code.col);
    return `${code.cell} of log ${log.code}: ${Math.hypot(x, y).toFixed(0)} mm from the pith.`;
  }

  /** A label of another log while a board is begun: whose label is wrong is for a person to say. */
  offerOther(log, codes) {
    this.say(`That is log ${log.code}, and this board is of ${this.typing.now.log}.`, true);
    by("said").append(button("Leave this board, begin a new one", () => {
      this.typing.now = { ...this.typing.now, codes: [], mark: "", width: "", changes: null };
      this.heard(codes ? this.typing.read(codes) : this.typing.scan(log.code));
      this.focus("scan");
    }));
  }

  changeBoard(board) {
    this.typing.change(board);
    this.doubt([]);
    this.say(`Board ${board.code} is tallied: ${board.thickness_mm} × ${board.width_mm} mm, ${board.length_m} m. Change what is wrong, or clear.`);
    this.draw();
    this.onChange();
    this.focus("width");
  }

  nextFlitch() {
    const number = /^\d+$/.test(this.typing.now.flitch.trim()) ? Number(this.typing.now.flitch) + 1 : 1;
    this.set("flitch", String(number));
    this.focus("scan");
  }

  clear() {
    if (!this.typing) return;
    this.typing.next();
    this.doubt([]);
    this.say("");
    this.draw();
    this.onChange();
    this.focus("scan");
  }

  /** Keep the board when it is whole and nothing about it is in doubt; else ask. */
  async keep(confirmed = false) {
    if (!this.typing || this.isBusy) return;
    const missing = this.typing.missing();
    if (missing) {
      this.say({ scan: "Scan a label first, or type a log.", mark: "Scan a label of the board, or type the mark on it." }[missing] ?? `What is the ${missing}?`, true);
      this.focus(missing);
      return;
    }
    const doubts = confirmed ? [] : this.typing.warnings();
    this.doubt(doubts);
    if (doubts.length) { this.focus("doubt-no"); return; }
    this.isBusy = true;
    try {
      const board = await this.onKeep(confirmed);
      this.say(`Kept: ${board.code}, ${board.thickness_mm} × ${board.width_mm} mm, ${board.length_m} m.`);
      this.draw();
    } catch (error) {
      this.onProblem(error);
    } finally {
      this.isBusy = false;
    }
    this.focus("scan");
  }

  doubt(warnings) {
    by("doubt").hidden = !warnings.length;
    fill(by("doubts"), ...warnings.map(({ text }) => el("li", {}, text)));
  }

  // What is seen

  draw() {
    const { typing } = this;
    // A value that is there already is left alone: the cursor may stand in it.
    for (const name of FIELDS) if (by(name).value !== typing.now[name]) by(name).value = typing.now[name];
    by("mark-row").hidden = !typing.log || typing.now.codes.length > 0 || Boolean(typing.now.changes);
    fill(by("codes"),
      typing.now.changes ? el("span", { class: "code" }, `changes ${typing.now.changes.code}`) : null,
      ...typing.now.codes.map((code) => button(`${code.cell} ×`, () => this.dropCode(code), "key plain code")));
    this.drawKeys();
  }

  dropCode(code) {
    this.typing.now.codes = this.typing.now.codes.filter((other) => other.text !== code.text);
    this.draw();
    this.onChange();
  }

  drawKeys() {
    const { plan } = this.typing.known.pack;
    const round = (value) => String(Number(value.toFixed(1)));
    this.keys("thickness", plan.thicknesses_mm.map((t) => round(greenThickness(plan, t))));
    this.keys("width", plan.widths_mm.map((w) => round(greenWidth(plan, w))));
    const full = this.typing.log ? this.typing.fullLength(this.typing.log) : null;
    const module = (plan.crosscut_module_mm || 100) / 1000;
    this.keys("length", full === null ? [] : [full, full - module, full - 2 * module].filter((l) => l > 0).map((l) => String(Number(l.toFixed(3)))));
    this.press();
  }

  keys(name, values) {
    fill(by(`${name}-keys`), ...values.map((value) => {
      const key = button(value, () => { this.set(name, value); this.focus(this.typing.missing() ?? "keep"); });
      key.dataset.value = value;
      return key;
    }));
  }

  /** Show which keys say what stands in the fields. */
  press() {
    for (const name of SIZES) {
      const now = sizeOf(name, this.typing.now[name]);
      for (const key of by(`${name}-keys`).children) key.setAttribute("aria-pressed", String(now !== null && Number(key.dataset.value) === now));
    }
  }
}
