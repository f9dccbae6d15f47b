// The screen in the stand: one tree, one trait, one value at a time.
import { doubts, shown } from "./checks.js";
import { by, counted } from "./dom.js";
import { choices, drawPad, numberOf, pressed, worded } from "./pad.js";
import { marked, photographed } from "./walk.js";

const SAID = { dead: "Dead", missing: "Missing", skipped: "Skipped" };

export class Stand {
  constructor({ store, queue, onLeave, onProblem }) {
    Object.assign(this, { store, queue, onLeave, onProblem });
    this.walk = null;
    this.traitAt = 0;
    this.typed = {}; // trait code -> what is typed and not yet kept as an entry
    this.cloneShown = false;
    this.busy = false;
    this.handlers = { press: (key) => this.press(key), choose: (v) => this.type(String(v)), write: (text) => this.type(text), command: (name) => this.command(name) };
    by("leave").addEventListener("click", () => this.onLeave());
    by("clone").addEventListener("click", () => this.showClone(!this.cloneShown));
    by("doubt-yes").addEventListener("click", () => this.answer(true));
    by("doubt-no").addEventListener("click", () => this.answer(false));
    document.addEventListener("keydown", (event) => this.keyboard(event));
  }

  get trait() { return this.walk.pack.traits[this.traitAt]; }
  get tree() { return this.walk.tree; }

  /** Begin or take up the walk at a place; `trait` null means the first one that has no value. */
  async open(walk, place, trait = null) {
    this.walk = walk;
    this.cloneShown = (await this.store.get("clone_shown")) ?? false;
    await this.go(place, trait);
  }

  /** Stand before a tree; what was typed for it and not finished is there again. */
  async go(place, trait = null) {
    this.walk.at = place;
    const traits = this.walk.pack.traits;
    const open = traits.findIndex((t) => this.walk.value(t) === null);
    this.traitAt = Math.min(trait ?? Math.max(open, 0), traits.length - 1);
    this.typed = (await this.store.one("drafts", [this.walk.pack.id, this.tree.code]))?.content ?? {};
    await this.standHere();
  }

  async standHere() {
    this.closeDoubt();
    const position = { assessment: this.walk.pack.id, tree: this.tree.code, trait: this.traitAt };
    await this.store.set("position", position);
    await this.store.set(`position-${position.assessment}`, position);
    this.draw();
  }

  // What is typed

  press(key) {
    const next = pressed(this.typed[this.trait.code] ?? "", key, this.trait);
    if (next !== null) this.type(next);
  }

  type(text) {
    this.typed = { ...this.typed, [this.trait.code]: text };
    if (text === "") delete this.typed[this.trait.code];
    this.draw();
    this.kept = this.keepDraft().catch((error) => this.onProblem(error));
  }

  keepDraft() {
    const key = [this.walk.pack.id, this.tree.code];
    return Object.keys(this.typed).length ? this.queue.draft(...key, this.typed) : this.store.remove("drafts", key);
  }

  /** The typed value as {number, text}; null when nothing is typed. */
  read() {
    const typed = this.typed[this.trait.code] ?? "";
    if (this.trait.kind === "text") return typed.trim() ? { number: null, text: typed.trim() } : null;
    const number = numberOf(typed);
    return number === null ? null : { number, text: null };
  }

  // Steps

  async command(name) {
    if (this.busy || !by("doubt").hidden) return;
    this.busy = true;
    try {
      await this.kept;
      await this[name]();
    } catch (error) {
      this.onProblem(error);
    } finally {
      this.busy = false;
    }
  }

  async next() {
    const value = this.read();
    const before = this.walk.value(this.trait);
    if (!value) {
      if (before !== null || this.walk.said()) return this.onward();
      return this.ask(`No ${this.trait.name.toLowerCase()} typed. Go on without it?`, "Leave it out", "Type it", () => this.onward());
    }
    if (before && this.walk.mark()?.values?.[this.trait.code] && before.value === (value.number ?? value.text)) {
      delete this.typed[this.trait.code];
      await this.keepDraft();
      return this.onward();
    }
    const odd = doubts(this.trait, value.number, { tree: this.tree, now: this.walk.values(), pack: this.walk.pack });
    if (odd.length) return this.ask(`${odd[0]}?`, `${shown(value.number)} is right`, "Type again", () => this.keepValue(value, true));
    return this.keepValue(value, false);
  }

  async keepValue(value, confirmed) {
    const corrects = this.walk.mark()?.values?.[this.trait.code]?.id ?? null;
    await this.keep({ kind: "value", trait: this.trait.code, ...value, confirmed, corrects });
    return this.onward();
  }

  /** Keep one entry of this tree; nothing moves on before it is on the phone. */
  async keep(part) {
    const assessment = this.walk.pack.id;
    const tree = this.tree.code;
    const entry = { id: this.queue.newId(), assessment, tree, ...part };
    const mark = marked(this.walk.mark(), entry, assessment, tree);
    const typed = { ...this.typed };
    if (entry.trait) delete typed[entry.trait];
    const draft = Object.keys(typed).length ? { assessment, tree, content: typed } : null;
    await this.queue.add([entry], mark, draft);
    this.walk.marks.set(tree, mark);
    this.typed = typed;
    this.queue.poke(); // a tree left half done goes up too
  }

  async onward() {
    if (this.traitAt + 1 < this.walk.pack.traits.length) {
      this.traitAt += 1;
      return this.standHere();
    }
    return this.nextTree();
  }

  async nextTree() {
    this.queue.poke();
    const place = this.walk.after();
    if (place !== null) return this.go(place);
    const { trees, treesDone } = this.walk.progress();
    this.draw();
    const left = trees - treesDone;
    return this.ask(left ? `The end of the walk; ${counted(left, "tree")} not done.` : "The end of the walk; every tree is done.", left ? "First not done" : "To the start", "Stay here", () => {
      const first = this.walk.firstOpen();
      return first === null ? this.onLeave() : this.go(first);
    });
  }

  async back() {
    if (this.traitAt > 0) {
      this.traitAt -= 1;
      return this.standHere();
    }
    const place = this.walk.before();
    return place === null ? undefined : this.go(place, this.walk.pack.traits.length - 1);
  }

  same() {
    const last = this.tree.last?.[this.trait.code];
    if (last !== undefined && last !== null) this.type(shown(last));
  }

  dead() { return this.ask(`${this.tree.code}: dead?`, "Yes, dead", "No", () => this.sayOf("dead")); }
  missing() { return this.ask(`${this.tree.code}: missing?`, "Yes, missing", "No", () => this.sayOf("missing")); }

  async skip() {
    const begun = this.walk.said() || this.walk.pack.traits.some((t) => this.walk.value(t) !== null);
    if (!begun) await this.keep({ kind: "skipped" });
    return this.nextTree();
  }

  async sayOf(kind) {
    await this.keep({ kind });
    return this.nextTree();
  }

  note() {
    by("note-tree").textContent = this.tree.code;
    by("words").value = "";
    by("photo-words").textContent = this.photoWords();
    by("leader").disabled = Boolean(this.walk.mark()?.second_leader);
    by("notes").replaceChildren(...(this.walk.mark()?.notes ?? []).map((words) => Object.assign(document.createElement("li"), { textContent: words })));
    by("note").showModal();
  }

  /** Keep a picture of this tree; it goes up after the entries. */
  async keepPhoto(photos, picture) {
    const place = { assessment: this.walk.pack.id, tree: this.tree.code };
    const mark = photographed(this.walk.mark(), place);
    await photos.add({ ...place, ...picture, typed_by: this.queue.person?.username ?? null }, mark);
    this.walk.marks.set(place.tree, mark);
    this.queue.poke();
    this.draw();
  }

  photoWords() {
    const taken = this.walk.mark()?.photos ?? 0;
    return taken ? `${counted(taken, "photo")} of this tree taken on this phone.` : "";
  }

  // A doubt: one line, two answers, and no other key until one is given

  ask(question, yes, no, then) {
    this.then = then;
    by("question").textContent = question;
    by("doubt-yes").textContent = yes;
    by("doubt-no").textContent = no;
    by("doubt").hidden = false;
    by("keys").inert = true;
    by("doubt-no").focus({ preventScroll: true });
  }

  closeDoubt() {
    this.then = null;
    by("doubt").hidden = true;
    by("keys").inert = false;
  }

  async answer(isYes) {
    const then = this.then;
    if (this.busy || !then) return;
    this.closeDoubt();
    if (!isYes) return;
    this.busy = true;
    try {
      await then();
    } catch (error) {
      this.onProblem(error);
    } finally {
      this.busy = false;
    }
  }

  keyboard(event) {
    if (by("stand").hidden || event.ctrlKey || event.metaKey || event.altKey || document.querySelector("dialog[open]")) return;
    if (["TEXTAREA", "INPUT", "BUTTON"].includes(event.target.tagName) && (event.key === "Enter" || event.target.tagName !== "BUTTON")) return;
    if (!by("doubt").hidden) return;
    if (event.key === "Enter") this.command("next");
    else if (this.trait.kind === "number") this.press(event.key === "Backspace" ? "erase" : event.key);
    else if (choices(this.trait)?.some((c) => String(c.value) === event.key)) this.type(event.key);
  }

  async showClone(isShown) {
    this.cloneShown = isShown;
    await this.store.set("clone_shown", isShown);
    this.draw();
  }

  // What is seen

  draw() {
    const { tree, trait, walk } = this;
    by("tree").textContent = tree.code;
    by("place").textContent = `Row ${tree.row} · Column ${tree.col}`;
    by("clone").textContent = this.cloneShown ? `Clone ${tree.clone ?? "unknown"}` : "Clone hidden";
    by("clone").setAttribute("aria-pressed", String(this.cloneShown));
    by("trait").textContent = trait.name;
    by("which").textContent = `${this.traitAt + 1} of ${walk.pack.traits.length}`;
    by("last").textContent = this.lastLine();
    this.drawValue();
    by("said").textContent = this.saidLine();
    const before = walk.value(trait)?.value;
    const typed = this.typed[trait.code];
    const chosen = trait.kind === "text" ? (typed ?? before) : typed !== undefined ? numberOf(typed) : (before ?? null);
    const drawn = `${tree.code}\n${trait.code}`;
    // The field under a typing thumb is never drawn anew.
    if (trait.kind !== "text" || this.drawn !== drawn) drawPad(trait, chosen, this.handlers);
    this.drawn = drawn;
    this.drawTally();
  }

  drawValue() {
    const { trait } = this;
    const typed = this.typed[trait.code];
    const before = this.walk.value(trait)?.value;
    const text = typed === undefined ? worded(trait, before, shown) : choices(trait) ? worded(trait, numberOf(typed), shown) : typed;
    const value = by("value");
    value.textContent = text || "–";
    value.classList.toggle("typed", typed !== undefined);
    value.classList.toggle("words", trait.kind !== "number");
    if (trait.unit && trait.kind === "number") value.append(Object.assign(document.createElement("small"), { textContent: ` ${trait.unit}` }));
  }

  lastLine() {
    const last = this.tree.last?.[this.trait.code];
    if (last === undefined || last === null) return "No earlier value";
    const on = this.tree.last_on?.[this.trait.code];
    return `Last: ${worded(this.trait, last, shown)}${this.trait.unit ? ` ${this.trait.unit}` : ""}${on ? `, ${on}` : ""}`;
  }

  saidLine() {
    const said = this.walk.said();
    const now = this.tree.now?.[this.trait.code];
    const mine = this.walk.mark()?.values?.[this.trait.code];
    return [
      said ? `${SAID[said]}, entered on this phone` : null,
      this.walk.mark()?.second_leader ? "Second leader" : null,
      this.walk.mark()?.photos ? counted(this.walk.mark().photos, "photo") : null,
      this.walk.stands(this.tree) ? null : `${this.tree.status} at an earlier visit`,
      now && !mine && now.by ? `Entered by ${now.by}` : null,
    ].filter(Boolean).join(" · ");
  }

  async drawTally() {
    const { plots, plotsDone } = this.walk.progress();
    const unsent = await this.queue.unsent();
    const photos = (await this.queue.photos?.count()) ?? 0;
    const waiting = [unsent || !photos ? unsent : null, photos ? counted(photos, "photo") : null].filter((part) => part !== null).join(" + ");
    const state = { offline: "no network", "signed out": "sign in to send", "other person": "see start", refused: "see start", sending: "sending" }[navigator.onLine ? this.queue.state : "offline"];
    by("tally").textContent = `Plots ${plotsDone} of ${plots} · Unsent ${waiting}${(unsent || photos) && state ? `, ${state}` : ""}`;
  }
}
