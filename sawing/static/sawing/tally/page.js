// Puts the parts together: what the tablet keeps, the queue, the board being typed, the log beside it.
import { by, button, el, entries, fill } from "../../trials/field/dom.js";
import { Form } from "./form.js";
import { Known, settled } from "./known.js";
import { LogSide } from "./log_side.js";
import { download } from "./saved.js";
import { newIdentity, openTally, TallyQueue, TallyServer } from "./queue.js";
import { Typing } from "./typing.js";

const { worker, scope, signIn } = document.body.dataset;
const study = decodeURIComponent(location.pathname).match(/^\/sawing\/([^/]+\/[^/]+)\/tally\/$/)?.[1];
const DRAFT = "typing";
const AFRESH_MS = 120_000;

function showProblem(error) {
  const words = error?.name === "QuotaExceededError" ? "The tablet has no room left: the last board is not kept. Write it down." : String(error?.message ?? error);
  const made = el("div", { class: "notice wrong over", role: "alert" }, el("p", {}, words), button("Seen", () => made.remove()));
  document.body.append(made);
}

class Page {
  constructor(store, queue, server) {
    Object.assign(this, { store, queue, server, known: null, fetchedAt: 0 });
    this.form = new Form({ onKeep: (confirmed) => this.keep(confirmed), onChange: () => this.draft(), onProblem: showProblem });
    this.side = new LogSide({ onWithdraw: (board) => this.withdraw(board), onChange: (board) => this.form.changeBoard(board), onNote: (words) => this.note(words) });
    by("send").addEventListener("click", () => this.guarded(() => queue.now()));
    by("fetch").addEventListener("click", () => this.guarded(() => this.fetch()));
    by("save").addEventListener("click", () => this.guarded(() => this.save()));
    by("restore").addEventListener("change", (event) => this.guarded(() => this.restore(event.target)));
    queue.onChange = () => { clearTimeout(this.drawing); this.drawing = setTimeout(() => this.drawNetwork().catch(showProblem), 50); };
    queue.onAnswers = (answers) => this.answered(answers);
  }

  async guarded(work) {
    try { await work(); } catch (error) { showProblem(error); }
  }

  /** Work with what is on the tablet; nothing is asked of the network. */
  async open() {
    const pack = await this.store.one("packs", study);
    if (pack) await this.take(pack);
    await this.drawNetwork();
  }

  async take(pack) {
    this.known = new Known(pack, await this.store.all("marks"));
    const draft = this.form.typing ? this.form.typing.now : (await this.store.one("drafts", [study, DRAFT]))?.content;
    this.form.open(new Typing(this.known, draft));
    by("study").textContent = pack.name;
    this.drawLog();
  }

  /** Fetch the pack anew; what was said since it was asked for, or has not arrived yet, stays over it. */
  async fetch() {
    const unsent = async () => new Set([...(await this.store.all("entries")), ...(await this.store.all("refused"))].map((e) => e.id));
    const before = await unsent();
    const marked = await this.store.all("marks");
    const pack = await this.server.get(`/sawing/api/${study}/tally/pack/`);
    const old = settled(marked, before, study);
    await this.store.change(["packs", "marks"], (tables) => {
      tables.packs.put({ ...pack, id: study });
      for (const mark of old) tables.marks.delete([mark.assessment, mark.tree]);
    });
    this.fetchedAt = Date.now();
    await this.take(pack);
  }

  async refresh() {
    try {
      this.queue.person = await this.server.session();
      await this.store.set("person", this.queue.person);
      await this.queue.now();
      await this.fetch();
      this.closed = "";
    } catch (error) {
      this.closed = error?.status === 403 || error?.status === 404 ? error.message : "";
      if (error?.constructor?.name === "SignedOut") this.queue.say("signed out");
      else this.queue.poke();
    }
    await this.drawNetwork();
  }

  /** What waits goes into a file as well; it stays here until the portal has it. */
  async save() {
    const content = await this.queue.exportUnsent();
    download(content, content.written_at, el);
  }

  async restore(input) {
    const file = input.files[0];
    input.value = "";
    if (!file) return;
    let content;
    try { content = JSON.parse(await file.text()); } catch { throw new Error("This file cannot be read as one of unsent boards."); }
    const back = await this.queue.restore(content);
    const pack = await this.store.one("packs", study);
    if (pack) await this.take(pack);
    by("restored").textContent = back ? `${entries(back)} brought back; they go up in order.` : "Everything in this file is on the tablet already.";
    this.queue.now();
  }

  // What is said

  async keep(confirmed) {
    const { part, board } = this.form.typing.entry(confirmed);
    const typed = this.form.typing.now;
    const mark = { assessment: study, tree: board.code, log: part.log, board, codes: typed.codes, id: newIdentity() };
    this.form.typing.next();
    try {
      await this.say(part, mark);
    } catch (error) {
      this.form.typing.now = typed; // not kept: it stays in the fields
      throw error;
    }
    return board;
  }

  async withdraw(board) {
    const codes = board.mark?.codes ?? [];
    const log = this.form.typing.log.code;
    const part = { kind: "withdraw", log, board: codes.length ? null : board.code, codes: codes.map((c) => c.text) };
    await this.say(part, { assessment: study, tree: board.code, log, board: null, codes, id: newIdentity() });
  }

  async note(words) {
    await this.queue.add(study, { kind: "note", log: this.form.typing?.log?.code ?? null, text: words });
    this.queue.poke();
  }

  /** Keep an entry with the mark of its board and the draft, all or nothing; then send. */
  async say(part, mark) {
    const draft = { assessment: study, tree: DRAFT, content: this.form.typing.now };
    await this.queue.add(study, { ...part, id: mark.id }, mark, draft);
    this.known.marks.delete(mark.tree);
    this.known.marks.set(mark.tree, mark);
    this.drawLog();
    this.queue.poke();
  }

  draft() {
    this.drawLog();
    return this.store.put("drafts", { assessment: study, tree: DRAFT, content: this.form.typing.now }).catch(showProblem);
  }

  /** The server may know a board by another of its codes: then that is its name here too. */
  async answered(answers) {
    for (const { entry, answer } of answers) {
      const mark = [...(this.known?.marks.values() ?? [])].find((m) => m.id === entry.id);
      if (!mark || !answer.board || answer.board === mark.tree) continue;
      const renamed = { ...mark, tree: answer.board, board: mark.board && { ...mark.board, code: answer.board } };
      await this.store.change(["marks"], (tables) => {
        tables.marks.delete([study, mark.tree]);
        tables.marks.put(renamed);
      });
      this.known.marks.delete(mark.tree);
      this.known.marks.set(renamed.tree, renamed);
    }
    if (this.known) this.drawLog();
  }

  // What is seen

  drawLog() { this.side.draw(this.known, this.form.typing?.log ?? null); }

  async drawNetwork() {
    const [waiting, refused, held] = await Promise.all(["entries", "refused", "held"].map((name) => this.store.all(name)));
    const n = waiting.length + refused.length;
    const wait = n ? `${entries(n)} ${n === 1 ? "waits" : "wait"} on this tablet` : "Nothing is unsent";
    const { state, why, person } = this.queue;
    const shown = state === "idle" && !navigator.onLine ? "offline" : state;
    const lines = {
      sending: ["Sending…"],
      "signed out": [`You are signed out. ${wait}; nothing is lost.`, el("a", { class: "key primary", href: `${signIn}?next=${location.pathname}` }, "Sign in to send")],
      offline: [`No network. ${n ? `${wait} and ${n === 1 ? "goes" : "go"} up by ${n === 1 ? "itself" : "themselves"}.` : "That is no hindrance: go on."}`],
      refused: [`The portal does not take entries now: ${why}. ${wait}.`],
      "other person": [`${wait}, typed while ${why} was signed in. `, button(`Send them as ${person?.user ?? ""}`, () => this.guarded(() => this.sendForOther()))],
      idle: [`Network is there. ${wait}.`],
    };
    fill(by("network"), ...lines[shown]);
    by("unsent").textContent = n ? `${entries(n)} on this tablet only.` : "Everything typed on this tablet is with the portal.";
    fill(by("refused"), ...(refused.length ? [el("p", { class: "notice wrong" }, "The portal cannot take these as they are. They stay here:"), ...refused.map(reasons), button("Try them again", () => this.guarded(async () => { await this.store.again(); await this.queue.now(); }))] : []));
    fill(by("held"), ...(held.length ? [el("h3", {}, "Held for a person"), el("p", {}, "The portal has these; nothing of them is lost. A manager settles them."), ...held.map(reasons), button("I have read this", () => this.guarded(() => this.forget(held)))] : []));
    fill(by("notices"), this.closed ? el("p", { class: "notice wrong" }, `This study is not open to you: ${this.closed}`) : null, this.known ? null : el("p", { class: "notice" }, "The logs of this study are fetched while there is network; from then on this page needs none."));
  }

  async sendForOther() {
    this.queue.standsFor = true;
    await this.queue.now();
    this.queue.standsFor = false;
  }

  async forget(rows) {
    for (const row of rows) await this.store.remove("held", row.id);
    await this.drawNetwork();
  }
}

/** One entry with its reasons, in words. */
function reasons(row) {
  const sizes = row.kind === "board" ? `${row.thickness_mm} × ${row.width_mm} mm, ${row.length_m} m` : row.kind;
  return el("article", { class: "card" },
    el("h3", {}, el("span", { class: "code" }, row.board ?? row.codes?.[0] ?? row.log ?? ""), ` ${sizes}`),
    el("ul", {}, ...row.problems.map((problem) => el("li", {}, problem))));
}

async function begin() {
  const store = await openTally(newIdentity);
  const server = new TallyServer({ fetch: (...args) => fetch(...args) });
  const queue = new TallyQueue({ store, server, online: () => navigator.onLine });
  queue.person = (await store.get("person")) ?? null;
  for (const [id, place] of [["balance-link", "balance/"], ["waiting-link", "waiting/"]]) by(id).href = location.pathname + place;
  by("study-link").href = `/sawing/${study}/`;
  const page = new Page(store, queue, server);
  globalThis.tally = { store, queue, page };
  await page.open();
  document.documentElement.dataset.ready = "yes";
  addEventListener("online", () => page.refresh());
  addEventListener("offline", () => queue.onChange());
  document.addEventListener("visibilitychange", () => { if (!document.hidden) page.refresh(); });
  setInterval(() => { if (!document.hidden && navigator.onLine && Date.now() - page.fetchedAt > AFRESH_MS) page.refresh(); }, AFRESH_MS / 4);
  navigator.storage?.persist?.().catch(() => {});
  navigator.serviceWorker?.register(worker, { scope }).catch((error) => console.info("the page's own files were not checked:", error.message));
  await page.refresh();
}

begin().catch((error) => {
  showProblem(new Error(`This tablet cannot keep entries (${error.message}). Do not type here; use paper, or another browser.`));
});
