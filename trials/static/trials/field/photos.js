// Photos: made small on the phone, kept there with an identity of the phone's own, sent after the entries.
//
// No page code here but the canvas that makes a picture smaller. A photo leaves the phone when the server has
// said that it took it; one that it cannot take stays, with its reasons.

import { AnotherPerson, Refused, Unreachable } from "./queue.js";

export const LONG_SIDE_PX = 1600;
const QUALITY = 0.82;
const PATIENCE_MS = 180_000; // a photo over thin reception takes its time

/** A picture from the camera as {bytes, width, height}: JPEG, upright, at most `side` px. */
export async function madeSmall(file, side = LONG_SIDE_PX) {
  let image;
  try {
    image = await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    throw new Error("This is no picture that the phone can read. Nothing was kept.");
  }
  const scale = Math.min(1, side / Math.max(image.width, image.height));
  const [width, height] = [image.width, image.height].map((length) => Math.max(1, Math.round(length * scale)));
  const canvas = Object.assign(document.createElement("canvas"), { width, height });
  canvas.getContext("2d").drawImage(image, 0, 0, width, height);
  image.close();
  const blob = await new Promise((resolve) => { canvas.toBlob(resolve, "image/jpeg", QUALITY); });
  if (!blob) throw new Error("The phone could not keep the picture. Nothing was kept.");
  return { bytes: await blob.arrayBuffer(), width, height };
}

export class Photos {
  constructor({ store, server, clock, newId, onChange = () => {} }) {
    Object.assign(this, { store, server, clock, newId, onChange });
  }

  /** Keep a picture of a tree, and the tree's mark with it: both or none. */
  async add({ assessment, tree, bytes, width, height, typed_by = null }, mark = null) {
    const photo = {
      id: this.newId(), assessment, tree, bytes, width, height, typed_by,
      taken_at: new Date(this.clock.now()).toISOString(), device: await this.store.get("device"), problems: null,
    };
    await this.store.change(["photos", "marks"], (tables) => {
      tables.photos.add(photo);
      if (mark) tables.marks.put(mark);
    });
    this.onChange();
    return photo;
  }

  count() { return this.store.count("photos"); }
  all() { return this.store.all("photos"); }
  async waiting() { return (await this.all()).filter((photo) => !photo.problems).sort((a, b) => a.taken_at.localeCompare(b.taken_at)); }
  async refused() { return (await this.all()).filter((photo) => photo.problems); }

  /** Send what waits, one at a time; the queue calls it when the entries are through. `queue` says who sends. */
  async drain(queue) {
    const waiting = await this.waiting();
    if (!waiting.length) return;
    queue.say("sending");
    queue.person = await this.server.session();
    for (const photo of waiting) {
      if (photo.typed_by && photo.typed_by !== queue.person.username && !queue.standsFor) throw new AnotherPerson(photo.typed_by);
      await this.sendOnce(photo);
      this.onChange();
    }
  }

  async sendOnce(photo) {
    const { id, device, assessment, tree, taken_at } = photo;
    const form = () => {
      const made = new FormData();
      made.append("about", JSON.stringify({ id, device, assessment, tree, taken_at }));
      made.append("photo", new Blob([photo.bytes], { type: "image/jpeg" }), `${id}.jpg`);
      return made;
    };
    let answer;
    try {
      const { answers } = await this.server.postForm("photos/", form, PATIENCE_MS);
      answer = Array.isArray(answers) ? answers.find((a) => a?.id === id) : undefined;
    } catch (error) {
      if (!(error instanceof Refused) || ![400, 413, 422].includes(error.status)) throw error;
      answer = { taken: false, problems: [error.message] };
    }
    if (answer?.taken === true) return this.store.remove("photos", id);
    if (answer?.taken === false) return this.store.put("photos", { ...photo, problems: answer.problems ?? ["refused"] });
    throw new Unreachable("the server did not answer for the photo");
  }

  /** Refused photos go into the queue again. */
  async again() {
    const rows = await this.refused();
    await this.store.change(["photos"], (tables) => { for (const row of rows) tables.photos.put({ ...row, problems: null }); });
    return rows.length;
  }

  /** Every photo for a file, its bytes as text. */
  async exported() { return (await this.all()).map(({ bytes, problems, ...rest }) => ({ ...rest, content: asText(bytes) })); }

  /** Bring photos of an exported file back; those here stay. Throws where one cannot be read, before any is kept. */
  async restore(rows) {
    const photos = rows.map(({ content, ...rest }) => {
      const isSound = typeof rest.id === "string" && typeof rest.tree === "string" && typeof content === "string";
      if (!isSound) throw new Error("A photo in this file cannot be read; nothing was brought back.");
      return { ...rest, bytes: asBytes(content), problems: null };
    });
    let back = 0;
    for (const photo of photos) {
      if (await this.store.one("photos", photo.id)) continue;
      await this.store.put("photos", photo);
      back += 1;
    }
    return back;
  }
}

function asText(bytes) {
  let text = "";
  const all = new Uint8Array(bytes);
  for (let at = 0; at < all.length; at += 8192) text += String.fromCharCode(...all.subarray(at, at + 8192));
  return btoa(text);
}

function asBytes(text) {
  try {
    return Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer;
  } catch {
    throw new Error("A photo in this file cannot be read; nothing was brought back.");
  }
}
