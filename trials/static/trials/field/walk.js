// The way over a site: trees in the order of the pack, next and back, and the jump to a code. No page code.

const SETTLED = ["dead", "missing"];

export class Walk {
  /** `marks`: what this phone has entered, by tree code. */
  constructor(pack, marks = new Map()) {
    this.pack = pack;
    this.marks = marks;
    this.at = 0;
    this.places = new Map(pack.trees.map((tree, place) => [plain(tree.code), place]));
  }

  get tree() { return this.pack.trees[this.at]; }
  mark(tree = this.tree) { return this.marks.get(tree.code); }

  /** What stands for a tree's trait: what this phone entered, else what the server knew: {value, id, by} or null. */
  value(trait, tree = this.tree) {
    return this.mark(tree)?.values?.[trait.code] ?? tree.now?.[trait.code] ?? null;
  }

  values(tree = this.tree) {
    return Object.fromEntries(this.pack.traits.map((trait) => [trait.code, this.value(trait, tree)?.value]));
  }

  /** dead, missing or skipped, as entered here; null where nothing was said. */
  said(tree = this.tree) { return this.mark(tree)?.said ?? null; }

  /** Whether a crew still has to stop here: felled trees and those gone at an earlier visit are passed by. */
  stands(tree) { return !tree.status || tree.status === "standing"; }

  isDone(tree) {
    if (SETTLED.includes(this.said(tree))) return true;
    return this.pack.traits.every((trait) => this.value(trait, tree) !== null);
  }

  /** The place of the next tree to stop at; null at the end of the walk. */
  after(at = this.at) {
    for (let place = at + 1; place < this.pack.trees.length; place += 1) if (this.stands(this.pack.trees[place])) return place;
    return null;
  }

  before(at = this.at) {
    for (let place = at - 1; place >= 0; place -= 1) if (this.stands(this.pack.trees[place])) return place;
    return null;
  }

  /** The first tree that is not done, from the beginning; null when all are. */
  firstOpen() {
    const place = this.pack.trees.findIndex((tree) => this.stands(tree) && !this.isDone(tree));
    return place < 0 ? null : place;
  }

  /** The place of a typed or scanned code: the whole code, or an end of it that only one tree has. A scanned
   * address counts by its last part. Null where no tree, or more than one, fits. */
  find(typed) {
    // A tag holds the code as it is: codes may themselves hold slashes.
    const whole = plain(typed.trim());
    if (this.places.has(whole)) return this.places.get(whole);
    const code = plain(typed.trim().replace(/\/+$/, "").split("/").pop());
    if (!code) return null;
    if (this.places.has(code)) return this.places.get(code);
    const ends = [...this.places].filter(([known]) => known.endsWith(code) && !/[\p{L}\p{N}]/u.test(known[known.length - code.length - 1] ?? "-"));
    return ends.length === 1 ? ends[0][1] : null;
  }

  /** Plots done and plots to do, counted once: {plots, plotsDone, trees, treesDone}. */
  progress() {
    const plots = new Map();
    let trees = 0, treesDone = 0;
    for (const tree of this.pack.trees) {
      if (!this.stands(tree)) continue;
      const plot = `${tree.block}\n${tree.plot ?? tree.code}`;
      const done = this.isDone(tree);
      trees += 1;
      treesDone += done ? 1 : 0;
      plots.set(plot, (plots.get(plot) ?? true) && done);
    }
    return { plots: plots.size, plotsDone: [...plots.values()].filter(Boolean).length, trees, treesDone };
  }
}

/** A code as a hand or a scanner gives it: case and blanks do not matter. */
export function plain(code) {
  let text;
  try { text = decodeURIComponent(code); } catch { text = code; }
  return text.replace(/\s+/g, "").toUpperCase();
}

/** A tree's mark with an entry added to it. */
export function marked(mark, entry, assessment, tree) {
  const next = { assessment, tree, values: {}, said: null, second_leader: false, notes: [], ...mark };
  if (entry.kind === "value") {
    next.values = { ...next.values, [entry.trait]: { value: entry.number ?? entry.text, id: entry.id } };
    next.said = null;
  } else if (entry.kind === "second_leader") next.second_leader = true;
  else if (entry.kind === "note") next.notes = [...next.notes, entry.text];
  else next.said = entry.kind;
  return next;
}

/** A tree's mark with one more photo. */
export function photographed(mark, { assessment, tree }) {
  return { assessment, tree, values: {}, said: null, second_leader: false, notes: [], ...mark, photos: (mark?.photos ?? 0) + 1 };
}

/** Marks after a pack was fetched anew: values that have arrived and stand in the pack need no mark of this phone. */
export function settledMark(mark, tree, unsent) {
  const values = Object.entries(mark.values ?? {}).filter(([trait, mine]) => unsent.has(mine.id) || !tree?.now?.[trait]);
  return { ...mark, values: Object.fromEntries(values) };
}
