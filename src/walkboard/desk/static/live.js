// Follows topics of the desk, and knows at every moment whether what is shown is fresh.
//
// Each message echoes the last stamp that we sent and for how long the server had it. The message
// was therefore sent after that stamp, so it is no older than (now - stamp - held), by our clock
// alone: no two clocks are compared. After a sleep the first messages are those that waited in the
// line; their stamps are as old as the sleep, so they never count as fresh.
const DIM_MS = 700;
const GIVE_UP_MS = 1600; // without a fresh message: try a new connection
const RETRY_MS = 300;
const SLOW_RETRY_MS = 1000;
const PATIENCE_MS = 60_000;
// For the first link: the desk may still be opening. A kept page is there because it is away.
const FIRST_MS = document.documentElement.dataset.kept ? 0 : 8000;

export class Live {
  #followers = new Map();
  #newest = new Map();
  #shown = null;
  #socket = null;
  #timer = 0;
  #freshAt = -Infinity; // when what we know was surely true
  #openedAt = 0;
  #bornAt = Date.now();
  #lostAt = Date.now();
  #state = "new";
  #onState = [];

  constructor(topics) {
    this.topics = topics;
    this.connect();
    setInterval(() => this.#check(), 100);
    // Once a picture, before it is drawn: the newest values, then what is said of the link. So no
    // picture shows an old value as fresh, not even the first one after a sleep.
    const paint = () => { this.#show(); this.#check(); requestAnimationFrame(paint); };
    requestAnimationFrame(paint);
    for (const event of ["online", "pageshow"]) addEventListener(event, () => this.#wake());
    document.addEventListener("visibilitychange", () => document.hidden || this.#wake());
  }

  on(topic, show) {
    if (!this.#followers.has(topic)) this.#followers.set(topic, []);
    this.#followers.get(topic).push(show);
    if (this.#shown?.has(topic)) show(this.#shown.get(topic));
  }

  onState(show) { this.#onState.push(show); show(this.#state, this.ageMs()); }
  get state() { return this.#state; }
  ageMs() { return Date.now() - this.#freshAt; }

  connect() {
    clearTimeout(this.#timer);
    this.#drop();
    const scheme = location.protocol === "https:" ? "wss:" : "ws:";
    const socket = new WebSocket(`${scheme}//${location.host}/live?topics=${this.topics.join(",")}`);
    this.#socket = socket;
    this.#openedAt = Date.now();
    socket.onopen = () => this.#acknowledge(0);
    socket.onmessage = (event) => socket === this.#socket && this.#take(JSON.parse(event.data));
    socket.onclose = () => socket === this.#socket && this.#again();
  }

  #take(message) {
    const now = Date.now();
    const age = Math.max(0, now - message.echo - message.held);
    this.#freshAt = Math.max(this.#freshAt > now ? -Infinity : this.#freshAt, now - age);
    this.#acknowledge(message.n);
    for (const [topic, value] of Object.entries(message.values)) this.#newest.set(topic, value);
    if (document.hidden) this.#show(); // it draws no pictures; its values must not wait for one
  }

  #show() {
    if (!this.#newest.size) return;
    const newest = this.#newest;
    this.#newest = new Map();
    this.#shown ??= new Map();
    for (const [topic, value] of newest) {
      this.#shown.set(topic, value);
      for (const show of this.#followers.get(topic) ?? []) show(value);
    }
  }

  #acknowledge(seen) {
    if (this.#socket.readyState === WebSocket.OPEN)
      this.#socket.send(JSON.stringify({ seen, stamp: Date.now() }));
  }

  #check() {
    const age = this.ageMs();
    const isOpen = this.#socket?.readyState === WebSocket.OPEN;
    const isNew = age === Infinity && Date.now() - this.#bornAt < FIRST_MS;
    const state = age <= DIM_MS ? "fresh" : isNew ? "new" : isOpen && age < 4000 ? "behind" : "off";
    if (state === "fresh" && this.#newest.size) return; // first show what is fresh
    if (state === "fresh") this.#lostAt = Date.now();
    else if (age > GIVE_UP_MS && Date.now() - this.#openedAt > GIVE_UP_MS && !this.#timer) this.connect();
    if (state !== this.#state || state !== "fresh") {
      this.#state = state;
      for (const show of this.#onState) show(state, age);
    }
  }

  #wake() { if (this.ageMs() > DIM_MS && Date.now() - this.#openedAt > RETRY_MS) this.connect(); }

  #again() {
    clearTimeout(this.#timer);
    const wait = Date.now() - this.#lostAt > PATIENCE_MS ? SLOW_RETRY_MS : RETRY_MS;
    this.#timer = setTimeout(() => { this.#timer = 0; this.connect(); }, wait);
  }

  #drop() {
    const old = this.#socket;
    this.#timer = 0;
    if (!old) return;
    old.onopen = old.onmessage = old.onclose = null;
    old.close();
  }
}
