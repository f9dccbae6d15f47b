// The queue of the page at the saw: that of the page in the stand (identity made here, in order, kept until the server
// said that it took it), with boards in place of trees. Entries of several studies may wait on one tablet; each goes
// to its own study.
import { ELSEWHERE, Queue, Refused, Server, Unreachable } from "../../trials/field/queue.js";
import { openStore } from "../../trials/field/store.js";
import { bringBack, unsentFile } from "./saved.js";

export { newIdentity } from "../../trials/field/queue.js";

const FIELDS = [
  "id", "kind", "log", "board", "flitch", "piece", "codes", "thickness_mm", "width_mm", "length_m", "text", "confirmed",
  "sequence", "entered_at",
];
const KINDS = ["board", "withdraw", "note"];

/** What the tablet keeps. Of the stand's tables, a study stands for an assessment and a board for a tree: `packs` by
 * study, `drafts` what is being typed, `marks` what this tablet said of a board. */
export const openTally = (newId) => openStore("tally", newId);

export class TallyServer extends Server {
  constructor(options) { super({ base: "", ...options }); }

  /** Who is signed in is asked where the page in the stand asks it. */
  async session() {
    const session = await this.get("/field/api/session/");
    this.token = session.csrf;
    return session;
  }
}

const sendingAlone = (work) => {
  if (!globalThis.navigator?.locks) return work();
  return navigator.locks.request("tally-sending", { ifAvailable: true }, (lock) => (lock ? work() : ELSEWHERE));
};

export class TallyQueue extends Queue {
  constructor({ onAnswers = async () => {}, ...options }) {
    super({ lock: sendingAlone, ...options });
    this.onAnswers = onAnswers;
  }

  /** Keep an entry of a study, the mark of its board, and what is left of the draft: all or nothing. Safe once it
   * resolves. */
  async add(study, part, mark = null, draft = null) {
    if (!KINDS.includes(part.kind)) throw new Error(`no kind of entry: ${part.kind}`);
    const entry = {
      log: null, board: null, flitch: null, piece: null, codes: [], thickness_mm: null, width_mm: null, length_m: null,
      text: null, confirmed: false, entered_at: new Date(this.clock.now()).toISOString(), ...part, study,
      id: part.id ?? this.newId(), typed_by: this.person?.username ?? null,
    };
    const [kept] = await this.store.append([entry], mark, draft);
    this.onChange();
    return kept;
  }

  /** Everything not yet taken, as an object for a file. */
  exportUnsent() { return unsentFile(this.store, this.clock); }

  /** Bring a saved file back; the number of entries brought back. Throws with words for a person. */
  async restore(file) {
    const back = await bringBack(this.store, file, KINDS);
    this.onChange();
    return back;
  }

  /** Send entries of one study; those of another wait for the next turn. */
  async sendOnce(entries) {
    const { study } = entries[0];
    const mine = entries.filter((entry) => entry.study === study);
    const body = {
      device: mine[0].device,
      entries: mine.map((entry) => Object.fromEntries(FIELDS.map((name) => [name, entry[name] ?? null]))),
    };
    let answers;
    try {
      ({ answers } = await this.server.post(`/sawing/api/${study}/tally/`, body));
    } catch (error) {
      // A study that is gone or closed to this person: a person has to look, and nothing is lost meanwhile.
      if (error instanceof Refused && error.status === 404) throw new Refused(404, "the study cannot be found, or you do not belong to its trial");
      throw error;
    }
    if (!Array.isArray(answers)) throw new Unreachable("the answer names no entries");
    const byId = new Map(mine.map((entry) => [entry.id, entry]));
    const known = answers.filter((answer) => byId.has(answer?.id));
    const at = new Date(this.clock.now()).toISOString();
    const settled = {
      taken: known.filter((a) => a.taken === true).map((a) => a.id),
      held: known.filter((a) => a.taken === true && a.held).map((a) => ({ ...byId.get(a.id), problems: a.problems ?? [], at })),
      refused: known.filter((a) => a.taken === false).map((a) => ({ ...byId.get(a.id), problems: a.problems ?? [] })),
    };
    if (!settled.taken.length && !settled.refused.length) throw new Unreachable("the server answered for none of the entries");
    await this.store.settle(settled);
    await this.onAnswers(known.map((answer) => ({ entry: byId.get(answer.id), answer })));
  }
}
