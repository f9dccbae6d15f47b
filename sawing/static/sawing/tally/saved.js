// Entries that wait, saved to a file and brought back, here or on another tablet. An entry keeps its identity, its
// device and its place in the order, so that the server takes it once, whichever tablet sends it.

const WHAT = "unsent boards of the hybrid trial portal";
const ONE_DAY = 16;

/** Everything of this tablet that the server has not taken, with the boards it stands for and what is being typed. */
export async function unsentFile(store, clock) {
  const [entries, refused, marks, drafts] = await Promise.all(["entries", "refused", "marks", "drafts"].map((name) => store.all(name)));
  const ids = new Set([...entries, ...refused].map((entry) => entry.id));
  return {
    what: WHAT, version: 1, device: await store.get("device"), written_at: new Date(clock.now()).toISOString(),
    entries, refused, marks: marks.filter((mark) => ids.has(mark.id)), drafts,
  };
}

/** Save it under a name with the day and the minute. */
export function download(content, at, make) {
  const address = URL.createObjectURL(new Blob([JSON.stringify(content, null, 1)], { type: "application/json" }));
  make("a", { href: address, download: `unsent-boards-${at.slice(0, ONE_DAY).replace(/[:T]/g, "-")}.json` }).click();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}

const isText = (value) => typeof value === "string" && value !== "";
const sound = (kinds) => (entry) => isText(entry?.id) && kinds.includes(entry.kind) && /^[^/]+\/[^/]+$/.test(entry.study ?? "")
  && isText(entry.device) && Number.isFinite(entry.sequence) && Array.isArray(entry.codes);

/** Bring a saved file back; the number of entries that were not here yet. Throws with words for a person, and then
 * nothing was brought back. A board that this tablet itself has said something of since keeps what was said here. */
export async function bringBack(store, file, kinds) {
  if (file?.what !== WHAT || file.version !== 1 || !Array.isArray(file.entries)) throw new Error("This is not a file of unsent boards.");
  const entries = [...file.entries, ...(file.refused ?? []).map(({ problems, ...entry }) => entry)];
  const odd = entries.filter((entry) => !sound(kinds)(entry)).length;
  if (odd) throw new Error(`${odd} of ${entries.length} entries in this file cannot be read; none was brought back.`);
  const back = await store.restore(entries);
  for (const [table, rows] of [["marks", file.marks ?? []], ["drafts", file.drafts ?? []]]) {
    for (const row of rows) {
      if (!(await store.one(table, [row.assessment, row.tree]))) await store.put(table, row);
    }
  }
  return back;
}
