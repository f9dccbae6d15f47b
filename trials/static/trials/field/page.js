// Puts the parts together: store, queue, start screen, stand.
import { by, el, fill } from "./dom.js";
import { facts, Finder, Notes } from "./find.js";
import { Photos } from "./photos.js";
import { newIdentity, Queue, realClock, Server } from "./queue.js";
import { Stand } from "./stand.js";
import { Start } from "./start.js";
import { openStore } from "./store.js";
import { Walk } from "./walk.js";

const { worker, scope, api, signIn } = document.body.dataset;

function showProblem(error) {
  const words = error?.name === "QuotaExceededError" ? "The phone has no room left: the last thing typed is not kept. Export what is unsent, then make room." : String(error?.message ?? error);
  const made = el("div", { class: "notice wrong over", role: "alert" }, el("p", {}, words), el("button", { type: "button", class: "key", click: () => made.remove() }, "Seen"));
  // Under an open sheet nothing can be pressed: then the words stand in the sheet.
  (document.querySelector("dialog[open]") ?? document.body).append(made);
}

function show(screen) {
  for (const id of ["start", "stand"]) by(id).hidden = id !== screen;
  if (screen === "start") scrollTo(0, 0);
}

async function begin() {
  const store = await openStore("field", newIdentity);
  const server = new Server({ fetch: (...args) => fetch(...args), base: api });
  const photos = new Photos({ store, server, clock: realClock, newId: newIdentity, onChange: () => queue.onChange() });
  const queue = new Queue({ store, server, photos, online: () => navigator.onLine });
  queue.person = (await store.get("person")) ?? null;
  const leave = async () => { show("start"); await store.set("screen", "start"); await start.draw(); };
  const stand = new Stand({ store, queue, onLeave: leave, onProblem: showProblem });
  const start = new Start({ store, queue, server, signIn, onProblem: showProblem, onWalk: (id) => walk(id) });
  new Finder({ stand, store, onProblem: showProblem });
  new Notes({ stand, photos, onProblem: showProblem });

  async function walk(id, at = null) {
    const pack = await store.one("packs", id);
    const marks = new Map((await store.all("marks")).filter((m) => m.assessment === id).map((m) => [m.tree, m]));
    const way = new Walk(pack, marks);
    const position = at ?? (await store.get(`position-${id}`)) ?? null;
    const known = position ? way.find(position.tree) : null;
    await stand.open(way, known ?? way.firstOpen() ?? way.after(-1) ?? 0, known === null ? null : position.trait);
    await store.set("screen", "stand");
    show("stand");
  }

  queue.onChange = () => {
    if (!by("stand").hidden && stand.walk) stand.drawTally();
    clearTimeout(queue.drawing);
    queue.drawing = setTimeout(() => { if (!by("start").hidden) start.draw(); }, 100);
  };
  addEventListener("online", () => start.refresh());
  addEventListener("offline", () => queue.onChange());
  document.addEventListener("visibilitychange", () => { if (!document.hidden) queue.now(); });

  // Where the crew stood when the browser was closed, there it stands again.
  const position = await store.get("position");
  await start.draw();
  if ((await store.get("screen")) === "stand" && position && (await store.one("packs", position.assessment))) {
    await walk(position.assessment, position);
  }
  document.documentElement.dataset.ready = "yes";
  globalThis.field = { store, queue, photos, start, stand, walk };
  keepOnPhone(start, server);
  await start.refresh();
}

/** Install the page itself, ask that its data last, and say how that went. */
async function keepOnPhone(start, server) {
  const tell = async () => {
    const isLasting = (await navigator.storage?.persisted?.()) ?? false;
    const version = globalThis.caches ? (await caches.keys()).find((name) => name.startsWith("field-"))?.slice(6) : null;
    fill(by("phone"), ...facts({ isKept: Boolean(navigator.serviceWorker?.controller), isLasting, clockOff_s: server.clockOff_s, version }));
  };
  start.tell = tell; // what is told of this phone may change with every answer: its clock against the portal's
  await tell();
  addEventListener("beforeinstallprompt", (event) => {
    event.preventDefault();
    by("install").hidden = false;
    by("install").onclick = () => { event.prompt(); by("install").hidden = true; };
  });
  try {
    await navigator.storage?.persist?.();
    if (navigator.serviceWorker) {
      navigator.serviceWorker.addEventListener("controllerchange", tell);
      const registration = await navigator.serviceWorker.register(worker, { scope });
      watchForNewVersion(registration, start);
      await navigator.serviceWorker.ready;
    }
  } catch (error) {
    // Without network there is nothing to fetch; the page that is open came from the phone.
    console.info("the page's own files were not checked:", error.message);
  }
  await tell();
  setTimeout(tell, 2000);
}

function watchForNewVersion(registration, start) {
  let asked = false;
  const offer = () => {
    if (!registration.waiting || !navigator.serviceWorker.controller || asked) return;
    asked = true;
    const take = () => {
      navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
      registration.waiting.postMessage("take over");
    };
    start.notice("note", el("p", {}, "A newer version of this page is ready. What is typed stays."), el("button", { type: "button", class: "key wide", click: take }, "Take the new version"));
  };
  offer();
  registration.addEventListener("updatefound", () => registration.installing?.addEventListener("statechange", offer));
}

begin().catch((error) => {
  showProblem(new Error(`This phone cannot keep entries (${error.message}). Do not type here; use paper, or another browser.`));
});
