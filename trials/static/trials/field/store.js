// What the phone keeps, in IndexedDB. Every change is one transaction: all of it is kept, or none.
//
// meta     name -> value: device, the last sequence, who was signed in, where the walk stood
// packs    an assessment taken along: traits and trees in walking order
// entries  what was entered and not yet taken by the server, in the order device, sequence
// refused  entries the server cannot take as they are; kept, never sent again by themselves
// held     what the server took and held for a person, with its reasons, until read here
// drafts   what is being typed; never sent
// marks    what this phone has entered for a tree, so that the walk knows it
// photos   pictures of trees, not yet taken by the server

const VERSION = 2;
const TABLES = {
  meta: { keyPath: "name" },
  packs: { keyPath: "id" },
  entries: { keyPath: "id" },
  refused: { keyPath: "id" },
  held: { keyPath: "id" },
  drafts: { keyPath: ["assessment", "tree"] },
  marks: { keyPath: ["assessment", "tree"] },
  photos: { keyPath: "id" },
};

function build(event) {
  const base = event.target.result;
  for (const [name, options] of Object.entries(TABLES)) {
    if (base.objectStoreNames.contains(name)) continue; // kept from an earlier version of the page
    const table = base.createObjectStore(name, options);
    if (name === "entries") table.createIndex("order", ["device", "sequence"]);
  }
}

function answered(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

/** Open the phone's store. `newId` makes the identity of this phone, once. */
export async function openStore(name = "field", newId = () => crypto.randomUUID()) {
  const opening = indexedDB.open(name, VERSION);
  opening.onupgradeneeded = build;
  const base = await answered(opening);
  // Another tab with a newer page must not wait for this one for ever.
  base.onversionchange = () => base.close();
  const store = new Store(base);
  if (!(await store.get("device"))) await store.set("device", newId());
  return store;
}

class Store {
  constructor(base) { this.base = base; }

  /** Run `work(tables)` in one transaction; resolves with its result once the disk has it. */
  change(names, work) {
    return new Promise((resolve, reject) => {
      const transaction = this.base.transaction(names, "readwrite", { durability: "strict" });
      let result;
      transaction.oncomplete = () => resolve(result);
      transaction.onabort = () => reject(transaction.error ?? new Error("the phone did not keep it"));
      const tables = Object.fromEntries(names.map((table) => [table, transaction.objectStore(table)]));
      Promise.resolve(work(tables)).then(
        (value) => { result = value; },
        (error) => { reject(error); try { transaction.abort(); } catch { /* it has ended already */ } },
      );
    });
  }

  read(table, ask) { return answered(ask(this.base.transaction(table).objectStore(table))); }
  all(table) { return this.read(table, (t) => t.getAll()); }
  one(table, key) { return this.read(table, (t) => t.get(key)); }
  count(table) { return this.read(table, (t) => t.count()); }
  put(table, value) { return this.change([table], (t) => answered(t[table].put(value))); }
  remove(table, key) { return this.change([table], (t) => answered(t[table].delete(key))); }

  async get(name) { return (await this.one("meta", name))?.value; }
  set(name, value) { return this.put("meta", { name, value }); }

  /** Keep entries with the next sequences of this phone, the tree's mark, and what is left of its draft (null:
   * nothing): all or nothing. */
  append(entries, mark = null, draft = null) {
    return this.change(["meta", "entries", "marks", "drafts"], async (tables) => {
      const last = (await answered(tables.meta.get("sequence")))?.value ?? 0;
      const device = (await answered(tables.meta.get("device"))).value;
      const kept = entries.map((entry, at) => ({ ...entry, device, sequence: last + 1 + at }));
      tables.meta.put({ name: "sequence", value: last + kept.length });
      for (const entry of kept) tables.entries.add(entry);
      if (mark) {
        tables.marks.put(mark);
        if (draft) tables.drafts.put(draft);
        else tables.drafts.delete([mark.assessment, mark.tree]);
      }
      return kept;
    });
  }

  /** Bring entries back as they were made, with their own device and sequence; those already here stay. */
  restore(entries) {
    return this.change(["entries", "refused"], async (tables) => {
      let back = 0;
      for (const entry of entries) {
        const here = (await answered(tables.entries.get(entry.id))) ?? (await answered(tables.refused.get(entry.id)));
        if (here) continue;
        tables.entries.put(entry);
        back += 1;
      }
      return back;
    });
  }

  /** The first entries to send, in order: at most `most`, all of one device. */
  async waiting(most) {
    const first = await this.read("entries", (t) => t.index("order").getAll(null, most));
    return first.filter((entry) => entry.device === first[0].device);
  }

  /** Forget what was taken; keep the reasons of what was held; set aside what was refused. */
  settle({ taken = [], held = [], refused = [] }) {
    return this.change(["entries", "held", "refused"], (tables) => {
      for (const id of taken) tables.entries.delete(id);
      for (const row of held) tables.held.put(row);
      for (const row of refused) {
        tables.refused.put(row);
        tables.entries.delete(row.id);
      }
    });
  }

  /** Put refused entries back in the queue. */
  again() {
    return this.change(["entries", "refused"], async (tables) => {
      const rows = await answered(tables.refused.getAll());
      for (const { problems, ...entry } of rows) tables.entries.put(entry);
      tables.refused.clear();
      return rows.length;
    });
  }
}
