// The start screen: what is on the phone, what can be taken along, what is unsent, what the portal held.
import { worded } from "./pad.js";
import { shown } from "./checks.js";
import { button, by, counted, el, entries, fill } from "./dom.js";
import { Refused, SignedOut } from "./queue.js";
import { settledMark, Walk } from "./walk.js";

export class Start {
  constructor({ store, queue, server, signIn, onWalk, onProblem }) {
    Object.assign(this, { store, queue, server, signIn, onWalk, onProblem });
    this.listed = null; // assessments as the server last listed them, in this session of the page
    // Drawn anew between a thumb's going down and up, a key would be another one, and the tap lost.
    addEventListener("pointerdown", () => { this.isPressed = true; });
    for (const name of ["pointerup", "pointercancel"]) addEventListener(name, () => setTimeout(() => this.released(), 50));
    by("send").addEventListener("click", () => this.guarded(() => this.sendNow()));
    by("export").addEventListener("click", () => this.guarded(() => this.exportFile()));
    by("restore").addEventListener("change", (event) => this.guarded(() => this.restoreFile(event.target)));
  }

  async guarded(work) {
    try {
      await work();
      await this.draw();
    } catch (error) {
      this.onProblem(error);
    }
  }

  /** Ask the server who is here and what is open; without an answer everything stays as it is. */
  async refresh() {
    try {
      const session = await this.server.session();
      this.queue.person = session;
      await this.store.set("person", session);
      const { assessments } = await this.server.get("assessments/");
      this.listed = assessments;
      this.signedOut = false;
      if (this.queue.state !== "sending") await this.queue.now();
    } catch (error) {
      this.signedOut = error instanceof SignedOut;
      this.listed = null;
      if (error instanceof Refused) this.onProblem(error);
      // The queue goes on trying by itself, also when the page was opened while the server was away.
      this.queue.poke();
    }
    await this.draw();
  }

  async sendNow() {
    await this.queue.now();
    await this.refresh();
  }

  /** Take an assessment along, or fetch it anew; the old pack stays until the new one is whole. */
  async take(id) {
    const pack = await this.server.get(`assessments/${id}/`);
    const unsent = new Set([...(await this.store.all("entries")), ...(await this.store.all("refused"))].map((e) => e.id));
    const trees = new Map(pack.trees.map((tree) => [tree.code, tree]));
    const marks = (await this.store.all("marks")).filter((mark) => mark.assessment === pack.id);
    await this.store.change(["packs", "marks"], (tables) => {
      tables.packs.put(pack);
      for (const mark of marks) tables.marks.put(settledMark(mark, trees.get(mark.tree), unsent));
    });
  }

  async drop(pack) {
    const mine = (row) => row.assessment === pack.id;
    const all = await Promise.all(["entries", "refused", "drafts", "photos"].map((name) => this.store.all(name)));
    const waiting = all.flat().filter(mine);
    if (waiting.length) throw new Error(`${entries(waiting.length)} of ${pack.name} not sent yet: it stays on the phone.`);
    await this.store.remove("packs", pack.id);
  }

  async exportFile() {
    const content = JSON.stringify(await this.queue.exportUnsent(), null, 1);
    const address = URL.createObjectURL(new Blob([content], { type: "application/json" }));
    const day = new Date().toISOString().slice(0, 16).replace(/[:T]/g, "-");
    el("a", { href: address, download: `unsent-entries-${day}.json` }).click();
    setTimeout(() => URL.revokeObjectURL(address), 60_000);
  }

  async restoreFile(input) {
    const file = input.files[0];
    input.value = "";
    if (!file) return;
    let content;
    try { content = JSON.parse(await file.text()); } catch { throw new Error("This file cannot be read as an export."); }
    const back = await this.queue.restore(content);
    this.notice("right", back ? `${content.photos?.length ? counted(back, "entry or photo", "entries and photos") : entries(back)} brought back; they go up in order.` : "Everything in this file is on the phone already.");
    this.queue.now();
  }

  notice(sign, ...content) {
    const made = el("div", { class: `notice ${sign}`, role: "status" }, ...content);
    by("notices").append(made);
    return made;
  }

  // What is seen

  released() {
    this.isPressed = false;
    if (this.isWanted) this.draw();
  }

  /** Draw, one drawing at a time, so that an older one never ends last; under a thumb it waits. */
  async draw() {
    if (this.isPressed || this.isDrawing) {
      this.isWanted = true;
      return;
    }
    this.isDrawing = true;
    this.isWanted = false;
    try {
      await this.drawNow();
    } finally {
      this.isDrawing = false;
    }
    if (this.isWanted) await this.draw();
  }

  async drawNow() {
    const [packs, marks, drafts, waiting, refused, held, photos] = await Promise.all(
      ["packs", "marks", "drafts", "entries", "refused", "held", "photos"].map((name) => this.store.all(name)),
    );
    const unsent = waiting.length + refused.length;
    const pictures = photos.length ? counted(photos.length, "photo") : "";
    const person = this.queue.person;
    by("who").textContent = person ? `${this.signedOut ? "Last signed in" : "Signed in"}: ${person.user}` : "Nobody is signed in on this phone.";
    this.tell?.();
    this.drawNetwork(unsent, photos.length);
    fill(by("kept"), ...(packs.length ? packs.map((pack) => this.keptCard(pack, marks, drafts)) : [el("p", {}, "Nothing yet. Take an assessment along while there is network; from then on it needs none.")]));
    fill(by("open"), ...this.openCards(packs));
    by("unsent").textContent = unsent || pictures ? `${[unsent ? entries(unsent) : "", pictures].filter(Boolean).join(" and ")} on this phone only.` : "Everything typed on this phone is with the portal.";
    by("send").disabled = !(waiting.length + photos.filter((photo) => !photo.problems).length);
    by("export").disabled = !(unsent + drafts.length + photos.length);
    fill(by("refused"), ...this.refusedRows(refused, photos.filter((photo) => photo.problems), packs));
    by("held-section").hidden = !held.length;
    fill(by("held"), ...held.map((row) => this.reasons(row, packs)), held.length ? button("I have read this", () => this.guarded(() => this.forgetHeld(held)), "key wide") : null);
  }

  drawNetwork(unsent, photos) {
    const told = [unsent ? entries(unsent) : "", photos ? counted(photos, "photo") : ""].filter(Boolean).join(" and ");
    const wait = told ? `${told} ${unsent + photos === 1 ? "waits" : "wait"} on this phone` : "Nothing is unsent";
    const signIn = () => el("a", { class: "key primary wide", href: this.signIn }, "Sign in to send");
    const { why, person } = this.queue;
    // Before the queue has tried in vain the browser may know already.
    const state = this.queue.state === "idle" && !navigator.onLine ? "offline" : this.queue.state;
    const lines = {
      sending: ["Sending…"],
      "signed out": [`You are signed out. ${wait}; nothing is lost.`, signIn()],
      offline: [told ? `No network. ${wait} and ${unsent + photos === 1 ? "goes" : "go"} up by ${unsent + photos === 1 ? "itself" : "themselves"}.` : "No network. That is no hindrance: everything works without."],
      refused: [`The portal does not take entries now: ${why}. ${wait}.`],
      "other person": [`${wait}; they were typed while ${why} was signed in. You are ${person?.user ?? ""}.`, button(`Send them as ${person?.user ?? ""}`, () => this.guarded(() => this.sendForOther()), "key wide")],
      idle: this.signedOut ? [`You are signed out. ${wait}.`, signIn()] : [`Network is there. ${wait}.`],
    };
    fill(by("network"), ...lines[state]);
  }

  async sendForOther() {
    this.queue.standsFor = true;
    await this.queue.now();
    this.queue.standsFor = false;
  }

  keptCard(pack, marks, drafts) {
    const mine = new Map(marks.filter((mark) => mark.assessment === pack.id).map((mark) => [mark.tree, mark]));
    const { plots, plotsDone, trees, treesDone } = new Walk(pack, mine).progress();
    const begun = drafts.filter((draft) => draft.assessment === pack.id);
    const closed = this.listed && !this.listed.some((a) => a.id === pack.id);
    return el("article", { class: "card" },
      el("h3", {}, pack.name),
      el("p", {}, `${pack.site} · ${pack.trial} · ${treesDone} of ${counted(trees, "tree")}, ${plotsDone} of ${counted(plots, "plot")} done`),
      el("progress", { max: Math.max(trees, 1), value: treesDone, "aria-label": "Trees done" }),
      closed ? el("p", { class: "notice caution" }, "Closed, or no longer yours. What you type still goes up; a manager decides about it.") : null,
      begun.length ? el("p", { class: "notice caution" }, `Digits typed and not finished: ${begun.map((d) => d.tree).join(", ")}`) : null,
      button(treesDone ? "Walk on" : "Begin the walk", () => this.guarded(() => this.onWalk(pack.id)), "key primary wide"),
      el("div", { class: "keys two" },
        button("Fetch anew", () => this.guarded(() => this.take(pack.id))),
        button("Take off phone", () => this.guarded(() => this.drop(pack)))),
    );
  }

  openCards(packs) {
    if (!this.listed) return [el("p", {}, this.signedOut ? "Sign in to see what is open." : "What is open shows here while there is network.")];
    const fresh = this.listed.filter((a) => !packs.some((pack) => pack.id === a.id));
    if (!fresh.length) return [el("p", {}, this.listed.length ? "All open assessments are on this phone." : "No assessment is open for you. A manager opens one.")];
    return fresh.map((a) => el("article", { class: "card" },
      el("h3", {}, a.name),
      el("p", {}, `${a.site} · ${a.trial} · ${counted(a.traits, "trait")}, ${counted(a.trees, "tree")}, from ${a.measured_from}`),
      button("Take along", (event) => {
        event.target.disabled = true;
        event.target.textContent = "Fetching…";
        this.guarded(() => this.take(a.id)).finally(() => this.draw());
      }, "key primary wide")));
  }

  refusedRows(rows, photos, packs) {
    if (!rows.length && !photos.length) return [];
    const again = async () => { await this.store.again(); await this.queue.photos?.again(); await this.queue.now(); };
    return [
      el("p", { class: "notice wrong" }, "The portal cannot take these as they are. They stay here and in the export:"),
      ...[...rows, ...photos].map((row) => this.reasons(row, packs)),
      button("Try them again", () => this.guarded(again), "key wide"),
    ];
  }

  /** One entry with its reasons, in words. */
  reasons(row, packs) {
    const trait = packs.find((pack) => pack.id === row.assessment)?.traits.find((t) => t.code === row.trait);
    const value = row.number ?? row.text;
    const said = row.bytes ? "photo" : row.kind === "value" ? `${trait?.name ?? row.trait} ${trait ? worded(trait, value, shown) : value}` : row.kind.replace("_", " ");
    return el("article", { class: "card" },
      el("h3", {}, el("span", { class: "code" }, row.tree), ` ${said}`),
      el("ul", {}, ...row.problems.map((problem) => el("li", {}, problem))));
  }

  async forgetHeld(rows) {
    for (const row of rows) await this.store.remove("held", row.id);
  }
}
