// Finding a tree: a field that a hand or a wedge scanner fills, and the camera where the browser reads codes.
import { button, by, el, fill } from "./dom.js";
import { madeSmall } from "./photos.js";

export class Finder {
  constructor({ stand, store, onProblem }) {
    Object.assign(this, { stand, store, onProblem });
    by("jump").addEventListener("click", () => this.open());
    by("find-close").addEventListener("click", () => by("find").close());
    by("find").addEventListener("close", () => this.stopCamera());
    by("find-form").addEventListener("submit", (event) => {
      event.preventDefault();
      this.goTo(by("code").value);
    });
    by("first-open").addEventListener("click", () => this.leap(this.stand.walk.firstOpen()));
    by("scan").addEventListener("click", () => this.scan());
    by("scan").hidden = !("BarcodeDetector" in globalThis && navigator.mediaDevices?.getUserMedia);
  }

  async open() {
    by("code").value = "";
    by("find-problem").textContent = "";
    by("find").showModal();
    by("code").focus();
    const { pack } = this.stand.walk;
    const begun = (await this.store.all("drafts")).filter((draft) => draft.assessment === pack.id && draft.tree !== this.stand.tree.code);
    fill(by("unfinished"), ...begun.map((draft) => button(`Not finished: ${draft.tree}`, () => this.goTo(draft.tree), "key wide")));
  }

  goTo(typed) {
    const place = this.stand.walk.find(typed);
    if (place !== null) return this.leap(place);
    by("find-problem").textContent = typed.trim() ? `No single tree of this assessment goes by “${typed.trim()}”.` : "Scan or type a code first.";
    by("code").select();
    return undefined;
  }

  async leap(place) {
    if (place === null) {
      by("find-problem").textContent = "Every tree is done.";
      return;
    }
    by("find").close();
    try {
      await this.stand.kept;
      await this.stand.go(place);
    } catch (error) {
      this.onProblem(error);
    }
  }

  async scan() {
    const video = by("camera");
    try {
      this.camera = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      video.srcObject = this.camera;
      video.hidden = false;
      await video.play();
      await this.watch(video, new BarcodeDetector());
    } catch (error) {
      this.stopCamera();
      by("find-problem").textContent = `The camera does not help here (${error.name}). Type the code.`;
    }
  }

  async watch(video, detector) {
    while (this.camera && by("find").open) {
      const [found] = await detector.detect(video);
      if (found && this.stand.walk.find(found.rawValue) !== null) return this.goTo(found.rawValue);
      if (found) by("find-problem").textContent = `“${found.rawValue}” is no tree of this assessment.`;
      await new Promise((resolve) => { setTimeout(resolve, 150); });
    }
    return undefined;
  }

  stopCamera() {
    for (const track of this.camera?.getTracks() ?? []) track.stop();
    this.camera = null;
    by("camera").srcObject = null;
    by("camera").hidden = true;
  }
}

/** The sheet for notes, photos and the second leader. */
export class Notes {
  constructor({ stand, photos, onProblem }) {
    by("photo").addEventListener("change", async (event) => {
      const [file] = event.target.files;
      event.target.value = "";
      if (!file) return;
      by("photo-words").textContent = "Keeping it…";
      try {
        await stand.keepPhoto(photos, await madeSmall(file));
        by("photo-words").textContent = stand.photoWords();
      } catch (error) {
        by("photo-words").textContent = stand.photoWords();
        onProblem(error);
      }
    });
    const keep = async (part) => {
      try {
        await stand.keep(part);
        by("note").close();
        stand.draw();
      } catch (error) {
        onProblem(error);
      }
    };
    by("note-close").addEventListener("click", () => by("note").close());
    by("leader").addEventListener("click", () => keep({ kind: "second_leader" }));
    by("note-form").addEventListener("submit", (event) => {
      event.preventDefault();
      const text = by("words").value.trim();
      if (text) keep({ kind: "note", text });
      else by("note").close();
    });
  }
}

/** What this phone can do, as lines for the start screen. */
export function facts({ isKept, isLasting, clockOff_s, version }) {
  const off = Math.abs(clockOff_s ?? 0);
  const clock = off > 300 ? `The clock of this phone is ${off > 7200 ? `${Math.round(off / 3600)} hours` : `${Math.round(off / 60)} minutes`} off. Entries keep their order all the same; the portal notes when they arrive.` : null;
  const lines = [
    !globalThis.isSecureContext ? "This address has no https: the browser will not keep the page on the phone. Use the portal's https address." : isKept ? "This page is on the phone and opens without network." : "This page is not on the phone yet. Keep it open for a moment while there is network.",
    isLasting ? "The browser keeps what is typed until it is sent." : "The browser may clear what is typed if the phone runs out of room: send, or export, before that.",
    clock,
    version ? `Version ${version}` : null,
  ];
  return lines.filter(Boolean).map((line) => el("li", {}, line));
}
