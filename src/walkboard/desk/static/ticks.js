// What has been ticked on this device, shown over what the page got until the page has it too.
import { outbox } from "./outbox.js";

export class Ticks extends EventTarget {
  #visit;
  #set = new Map(); // pipe -> { uid, state, isKept }

  constructor(visit) {
    super();
    this.#visit = visit;
    for (const setting of outbox.pending("tick"))
      if (setting.body.visit === visit)
        this.#set.set(setting.body.pipe, { uid: setting.uid, state: setting.body.state, isKept: false });
    outbox.addEventListener("settled", ({ detail }) => this.#settled(detail));
    addEventListener("walkboard:refreshed", () => this.#refreshed());
  }

  stateOf(pipe, got) { return this.#set.get(pipe)?.state ?? got; }

  // The tick that counts, by its id: this device's own newest, or the one that the page got.
  uidOf(pipe, got) { return this.#set.get(pipe)?.uid ?? got; }

  isOwn(pipe) { return this.#set.has(pipe); }

  // `over` is the tick that is taken back: the desk refuses if another device has ticked since.
  tick(pipe, state, over = "") {
    const uid = outbox.set("tick", { visit: this.#visit, pipe, state, note: "", over });
    this.#set.set(pipe, { uid, state, isKept: false });
    this.dispatchEvent(new Event("change"));
    return uid;
  }

  #settled({ setting, outcome }) {
    const own = this.#set.get(setting.body.pipe);
    if (setting.kind !== "tick" || !own || own.uid !== setting.uid) return;
    if (outcome.state === "kept") own.isKept = true; // the next refresh brings it
    else this.#set.delete(setting.body.pipe);
    this.dispatchEvent(new Event("change"));
  }

  #refreshed() {
    for (const [pipe, own] of this.#set) if (own.isKept) this.#set.delete(pipe);
    this.dispatchEvent(new Event("change"));
  }
}
