// What has been ticked on this device, shown over what the page got until the page has it too.
import { outbox } from "./outbox.js";

export class Ticks extends EventTarget {
  #visit;
  #opened;
  #key;
  #set = new Map(); // pipe -> { uid, state, keptAt }, keptAt null until it is in the book

  // `opened` is when the visit was opened: another book may have a visit of the same number.
  constructor(visit, opened) {
    super();
    this.#visit = visit;
    this.#opened = opened;
    this.#key = `walkboard.ticked.${visit}.${opened}`;
    if (document.documentElement.dataset.kept) this.#readKept();
    else localStorage.removeItem(this.#key); // the page is newer than what was noted here
    for (const { uid, body } of outbox.pending("tick"))
      if (body.visit === visit && body.opened === opened) this.#set.set(body.pipe, { uid, state: body.state, keptAt: null });
    outbox.addEventListener("settled", ({ detail }) => this.#settled(detail));
    addEventListener("walkboard:refreshed", ({ detail }) => this.#refreshed(detail.askedAt));
  }

  stateOf(pipe, got) { return this.#set.get(pipe)?.state ?? got; }

  // The tick that counts, by its id: this device's own newest, or the one that the page got.
  uidOf(pipe, got) { return this.#set.get(pipe)?.uid ?? got; }

  isOwn(pipe) { return this.#set.has(pipe); }

  // `over` is the tick that is taken back: the desk refuses if another device has ticked since.
  tick(pipe, state, over = "") {
    const uid = outbox.set("tick", { visit: this.#visit, opened: this.#opened, pipe, state, note: "", over });
    this.#set.set(pipe, { uid, state, keptAt: null });
    this.dispatchEvent(new Event("change"));
    return uid;
  }

  #settled({ setting, outcome }) {
    const own = this.#set.get(setting.body.pipe);
    if (setting.kind !== "tick" || !own || own.uid !== setting.uid) return;
    if (outcome.state === "kept") own.keptAt = performance.now();
    else this.#set.delete(setting.body.pipe);
    this.#noteKept();
    this.dispatchEvent(new Event("change"));
  }

  // Only what was asked for after a tick was in the book is sure to have it.
  #refreshed(askedAt) {
    for (const [pipe, own] of this.#set) if (own.keptAt !== null && own.keptAt < askedAt) this.#set.delete(pipe);
    this.#noteKept();
    this.dispatchEvent(new Event("change"));
  }

  // A page that is kept on this device may be older than what the desk has taken since.
  #noteKept() {
    const kept = [...this.#set].filter(([, own]) => own.keptAt !== null);
    if (kept.length) localStorage.setItem(this.#key, JSON.stringify(kept));
    else localStorage.removeItem(this.#key);
  }

  #readKept() {
    try {
      for (const [pipe, own] of JSON.parse(localStorage.getItem(this.#key) ?? "[]")) this.#set.set(pipe, { ...own, keptAt: 0 });
    } catch {
      localStorage.removeItem(this.#key);
    }
  }
}
