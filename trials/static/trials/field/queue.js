// The offline queue: what was typed goes to the server in order, once, whatever happens in between.
//
// No page code here. An entry gets its identity on the phone and keeps it; the phone forgets an entry only after
// the server has said that it took it. Store, fetch, clock and lock come from outside.

export const PAUSES_S = [2, 5, 15, 60, 300];
const PATIENCE_MS = 30_000;
/** What a lock answers while another tab sends: that one may have looked for the last time, so try again later. */
export const ELSEWHERE = "elsewhere";
const KINDS = ["value", "dead", "missing", "skipped", "second_leader", "note"];
const SENT_FIELDS = [
  "id", "assessment", "tree", "trait", "kind", "number", "text", "confirmed", "corrects", "sequence", "entered_at",
];

/** The server answered that nobody is signed in. */
export class SignedOut extends Error {}
/** No network, no server, or something in between that answered in its place. */
export class Unreachable extends Error {}
/** The server understood and said no; `status` says how. */
export class Refused extends Error {
  constructor(status, text) { super(text); this.status = status; }
}

/** What waits was typed while somebody else was signed in: a person says who sends it. */
export class AnotherPerson extends Error {}

/** An identity as the server knows it (RFC 9562, version 4), also where the browser keeps randomUUID for https. */
export function newIdentity(source = globalThis.crypto) {
  if (source.randomUUID) return source.randomUUID();
  const bytes = source.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

export const realClock = {
  now: () => Date.now(),
  setTimeout: (work, ms) => setTimeout(work, ms),
  clearTimeout: (timer) => clearTimeout(timer),
};

/** The server's side of the contract: JSON or one of the three errors above. */
export class Server {
  constructor({ fetch, clock = realClock, base = "/field/api/" }) {
    this.fetch = fetch;
    this.clock = clock;
    this.base = base;
    this.token = null;
  }

  get(path) { return this.ask(path, { method: "GET" }); }

  /** Who is signed in; brings the token that every sending needs. */
  async session() {
    const session = await this.get("session/");
    this.token = session.csrf;
    return session;
  }

  post(path, body) {
    const headers = { "Content-Type": "application/json" };
    return this.send(path, () => ({ headers, body: JSON.stringify(body) }));
  }

  /** A form with a file; `form()` makes it anew for every try. */
  postForm(path, form, patience_ms) { return this.send(path, () => ({ headers: {}, body: form() }), patience_ms); }

  async send(path, make, patience_ms = PATIENCE_MS) {
    if (!this.token) await this.session();
    const send = () => {
      const { headers, body } = make();
      return this.ask(path, { method: "POST", headers: { ...headers, "X-CSRFToken": this.token }, body }, patience_ms);
    };
    try {
      return await send();
    } catch (error) {
      // The token changes with every sign-in; a fresh one is tried once.
      if (!(error instanceof Refused && error.status === 403)) throw error;
      await this.session();
      return send();
    }
  }

  async ask(path, options, patience_ms = PATIENCE_MS) {
    const breaking = new AbortController();
    const timer = this.clock.setTimeout(() => breaking.abort(), patience_ms);
    try {
      return await this.answer(path, { ...options, signal: breaking.signal });
    } finally {
      this.clock.clearTimeout(timer);
    }
  }

  async answer(path, options) {
    let response, body;
    try {
      response = await this.fetch(this.base + path, { credentials: "same-origin", redirect: "manual", cache: "no-store", ...options });
      body = await response.json();
    } catch (error) {
      // A page of a hotel's network, half an answer, a cut line: none of it is the server's word. A refusal
      // without JSON still is.
      if (!response || response.ok || response.status === 0 || response.status >= 500) throw new Unreachable(String(error));
      body = {};
    }
    if (response.status === 401) throw new SignedOut();
    if (response.status >= 500 || response.status === 0 || response.status === 408 || response.status === 429) {
      throw new Unreachable(`the server answered ${response.status}`);
    }
    if (!response.ok) throw new Refused(response.status, body.error ?? body.detail ?? `the server answered ${response.status}`);
    const date = response.headers?.get?.("Date");
    if (date) this.clockOff_s = Math.round((this.clock.now() - Date.parse(date)) / 1000);
    return body;
  }
}

/** Where sending stands: state is idle, sending, offline, signed out, other person or refused. */
export class Queue {
  constructor({ store, server, clock = realClock, newId = newIdentity, batch = 50, onChange = () => {}, lock = alone, online = () => true, photos = null }) {
    Object.assign(this, { store, server, clock, newId, batch, onChange, lock, online, photos });
    this.person = null; // {username, user} as the server last said, kept over restarts by the page
    this.standsFor = false; // whether this person sends what another one typed on the same phone
    this.state = "idle";
    this.why = "";
    this.sending = false;
    this.again = false; // somebody had something new to send while a run was going on
    this.failures = 0;
    this.timer = null;
  }

  /** Keep entries (of one tree), and the tree's mark with them. They are safe once this resolves. */
  async add(parts, mark = null, draft = null) {
    const entries = parts.map((part) => {
      if (!KINDS.includes(part.kind)) throw new Error(`no kind of entry: ${part.kind}`);
      return {
        trait: null, number: null, text: null, confirmed: false, corrects: null,
        entered_at: new Date(this.clock.now()).toISOString(), ...part, id: part.id ?? this.newId(),
        typed_by: this.person?.username ?? null,
      };
    });
    const kept = await this.store.append(entries, mark, draft);
    this.onChange();
    return kept;
  }

  /** What is being typed: kept at once, sent never. */
  draft(assessment, tree, content) { return this.store.put("drafts", { assessment, tree, content }); }

  async unsent() { return (await this.store.count("entries")) + (await this.store.count("refused")); }

  /** Send what waits. One run at a time; a call while one runs makes it look once more before it rests. Never throws. */
  async send() {
    if (this.sending) {
      this.again = true; // the run may have looked for the last time already
      return this.state;
    }
    this.sending = true;
    try {
      do {
        this.again = false;
        if ((await this.lock(() => this.run())) === ELSEWHERE) this.later();
      } while (this.again && this.state === "idle");
    } catch (error) {
      this.say("offline", String(error.message ?? error));
      this.later();
    } finally {
      this.sending = false;
      this.onChange();
    }
    return this.state;
  }

  async run() {
    this.forgetTimer();
    try {
      if (!this.online()) throw new Unreachable("no network");
      await this.drain();
      await this.photos?.drain(this);
      this.failures = 0;
      this.say("idle");
    } catch (error) {
      if (error instanceof SignedOut) this.say("signed out");
      else if (error instanceof AnotherPerson) { this.say("other person", error.message); return; }
      else if (error instanceof Refused) this.say("refused", error.message);
      else this.say("offline", String(error.message ?? error));
      this.later();
    }
  }

  async drain() {
    let size = this.batch;
    for (let first = true; ; first = false) {
      const entries = await this.store.waiting(size);
      if (!entries.length) return;
      if (first) {
        this.say("sending");
        this.person = await this.server.session();
      }
      const other = entries.find((entry) => entry.typed_by && entry.typed_by !== this.person.username);
      if (other && !this.standsFor) throw new AnotherPerson(other.typed_by);
      try {
        await this.sendOnce(entries);
        size = this.batch;
      } catch (error) {
        // One spoilt entry must not stop the others: halve until it stands alone, and set it aside.
        if (!(error instanceof Refused) || ![400, 413, 422].includes(error.status)) throw error;
        if (entries.length > 1) size = Math.ceil(entries.length / 2);
        else await this.store.settle({ refused: [{ ...entries[0], problems: [error.message] }] });
      }
      this.onChange();
    }
  }

  async sendOnce(entries) {
    const body = {
      device: entries[0].device,
      entries: entries.map((entry) => Object.fromEntries(SENT_FIELDS.map((name) => [name, entry[name] ?? null]))),
    };
    const { answers } = await this.server.post("entries/", body);
    if (!Array.isArray(answers)) throw new Unreachable("the answer names no entries");
    const mine = new Map(entries.map((entry) => [entry.id, entry]));
    const known = answers.filter((answer) => mine.has(answer?.id));
    const at = new Date(this.clock.now()).toISOString();
    const settled = {
      taken: known.filter((a) => a.taken === true).map((a) => a.id),
      held: known.filter((a) => a.taken === true && a.held).map((a) => ({ ...mine.get(a.id), problems: a.problems ?? [], at })),
      refused: known.filter((a) => a.taken === false).map((a) => ({ ...mine.get(a.id), problems: a.problems ?? [] })),
    };
    if (!settled.taken.length && !settled.refused.length) throw new Unreachable("the server answered for none of the entries");
    await this.store.settle(settled);
  }

  /** Try again after a pause that grows with every failure. */
  later() {
    const pause = PAUSES_S[Math.min(this.failures, PAUSES_S.length - 1)];
    this.failures += 1;
    this.forgetTimer();
    this.timer = this.clock.setTimeout(() => { this.timer = null; this.send(); }, pause * 1000);
  }

  /** There is something new to send; a pause that runs goes on. */
  poke() { return this.timer === null ? this.send() : Promise.resolve(this.state); }

  /** Network is back, or a person asks: no need to wait any longer. */
  now() {
    this.failures = 0;
    return this.send();
  }

  forgetTimer() {
    if (this.timer !== null) this.clock.clearTimeout(this.timer);
    this.timer = null;
  }

  say(state, why = "") {
    this.state = state;
    this.why = why;
    this.onChange();
  }

  /** Everything not yet taken, as an object for a file. */
  async exportUnsent() {
    return {
      what: "unsent entries of the hybrid trial portal",
      version: 1,
      device: await this.store.get("device"),
      written_at: new Date(this.clock.now()).toISOString(),
      entries: await this.store.all("entries"),
      refused: await this.store.all("refused"),
      drafts: await this.store.all("drafts"),
      photos: (await this.photos?.exported()) ?? [],
    };
  }

  /** Feed an exported file back; the number of entries and photos brought back. Throws with words for a person. */
  async restore(file) {
    if (file?.version !== 1 || !Array.isArray(file.entries)) throw new Error("This is not a file of unsent entries.");
    const refused = (file.refused ?? []).map(({ problems, ...entry }) => entry);
    const entries = [...file.entries, ...refused];
    const sound = (e) => e && typeof e.id === "string" && KINDS.includes(e.kind) && typeof e.device === "string" && Number.isFinite(e.sequence);
    const odd = entries.filter((entry) => !sound(entry)).length;
    if (odd) throw new Error(`${odd} of ${entries.length} entries in this file cannot be read; none was brought back.`);
    const pictures = (await this.photos?.restore(file.photos ?? [])) ?? 0;
    const back = pictures + (await this.store.restore(entries));
    for (const draft of file.drafts ?? []) {
      if (!(await this.store.one("drafts", [draft.assessment, draft.tree]))) await this.store.put("drafts", draft);
    }
    this.onChange();
    return back;
  }
}

/** A lock for all tabs of this browser where it has one; sent twice would be harmless, but waste reception. */
export async function alone(work) {
  if (!globalThis.navigator?.locks) return work();
  return navigator.locks.request("field-sending", { ifAvailable: true }, (lock) => (lock ? work() : ELSEWHERE));
}
