// What was pressed on this device at this visit, newest last, so that Undo takes back the last
// press whatever it was, also after the page was loaded again.
const MOST = 60;

export class Presses {
  #key;
  #list;

  constructor(visit) {
    this.#key = `walkboard.presses.${visit}`; // of one visit of one book
    try {
      this.#list = JSON.parse(localStorage.getItem(this.#key) ?? "[]");
    } catch {
      this.#list = [];
    }
  }

  get isEmpty() { return !this.#list.length; }

  // { what: "tick", pipe, was, uid } or { what: "fault", pipe, kind, uid }
  push(press) { this.#list.push(press); this.#keep(); }

  pop() { const last = this.#list.pop(); this.#keep(); return last; }

  // Kinds of fault noted here at a pipe, which the page may not have got yet.
  faultsOf(pipe) { return this.#list.filter((p) => p.what === "fault" && p.pipe === pipe).map((p) => p.kind); }

  #keep() {
    this.#list = this.#list.slice(-MOST);
    localStorage.setItem(this.#key, JSON.stringify(this.#list));
  }
}

// Presses that come within half a second after what they act on has changed are not meant for it:
// the second half of a double tap, or a thumb that was on its way when another device ticked.
const REST_MS = 500;

export class Rest {
  #place;
  #timer = 0;
  #endsAt = 0;

  constructor(place) { this.#place = place; }

  get isOn() { return performance.now() < this.#endsAt; }

  // The page was drawn again: another element stands for the same thing.
  moveTo(place) { this.#place = place; if (this.isOn) place.dataset.rest = ""; }

  begin() {
    this.#endsAt = performance.now() + REST_MS;
    this.#place.dataset.rest = "";
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#end(), REST_MS);
  }

  #end() {
    if (this.isOn) { this.#timer = setTimeout(() => this.#end(), 20); return; }
    delete this.#place.dataset.rest;
  }
}
