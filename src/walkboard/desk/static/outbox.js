// Keeps everything that is set on this device until the desk says that it is in the book.
//
// A setting is idempotent and has an id: sent twice, it is kept once. It lies in localStorage, so a
// phone that sleeps, loses its link, or is switched off loses none of them.
const PREFIX = "walkboard.set.";
const LAST = "walkboard.last";
const REFUSED = "walkboard.refused.";
const RETRY_MS = 1500;
const WAIT_MS = 4000; // for an answer

function freshId() {
  // randomUUID is there only over https
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

// Later than every instant before, so that of two settings in one millisecond the last one counts.
function nextInstant() {
  const now = Math.max(Date.now(), Number(localStorage.getItem(LAST) ?? 0) + 1);
  localStorage.setItem(LAST, String(now));
  return new Date(now).toISOString();
}

class Outbox extends EventTarget {
  #sending = false;
  #again = false;
  #isUnpaired = false;

  constructor() {
    super();
    setInterval(() => this.pending().length && !this.#isUnpaired && this.send(), RETRY_MS);
    addEventListener("online", () => this.send());
    addEventListener("pageshow", () => this.send());
    addEventListener("storage", () => this.#changed());
  }

  // Whether the desk no longer knows this device: what is set then would never be taken.
  get isUnpaired() { return this.#isUnpaired; }

  // Asks the desk who we are, where no setting is on its way to find out.
  async ask() {
    try {
      const answer = await fetch("/outbox", {
        method: "POST", headers: { "Content-Type": "application/json" },
        body: '{"settings":[]}', signal: AbortSignal.timeout(WAIT_MS),
      });
      this.#judge(answer);
    } catch {
      // no link: nothing is known
    }
  }

  #judge(answer) {
    const isUnpaired = answer.status === 401;
    if (isUnpaired === this.#isUnpaired) return;
    this.#isUnpaired = isUnpaired;
    this.#changed();
  }

  // Puts a setting in and sends it; gives its id. `body` must say the whole new state.
  set(kind, body) {
    const uid = freshId();
    const setting = { uid, kind, at: nextInstant(), body };
    localStorage.setItem(PREFIX + uid, JSON.stringify(setting));
    this.#changed();
    this.send();
    return uid;
  }

  // What is not yet confirmed, oldest first.
  pending(kind) {
    return stored(PREFIX).filter((s) => kind === undefined || s.kind === kind)
      .sort((a, b) => (a.at < b.at ? -1 : 1));
  }

  refused() { return stored(REFUSED); }

  putAside(uid) { localStorage.removeItem(REFUSED + uid); this.#changed(); }

  async send() {
    if (this.#sending) { this.#again = true; return; }
    const settings = this.pending().slice(0, 200);
    if (!settings.length) return;
    this.#sending = true;
    try {
      const answer = await fetch("/outbox", {
        method: "POST", headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ settings }), signal: AbortSignal.timeout(WAIT_MS),
      });
      this.#judge(answer);
      if (answer.ok) this.#settle(settings, (await answer.json()).outcomes);
    } catch {
      // no link: they stay, and are sent again
    } finally {
      this.#sending = false;
    }
    if (this.#again) { this.#again = false; this.send(); }
  }

  #settle(settings, outcomes) {
    for (const setting of settings) {
      const outcome = outcomes[setting.uid];
      if (!outcome || outcome.state === "later") continue;
      if (outcome.state === "refused")
        localStorage.setItem(REFUSED + setting.uid, JSON.stringify({ ...setting, why: outcome.why }));
      localStorage.removeItem(PREFIX + setting.uid);
      this.dispatchEvent(new CustomEvent("settled", { detail: { setting, outcome } }));
    }
    this.#changed();
  }

  #changed() { this.dispatchEvent(new Event("change")); }
}

function stored(prefix) {
  const found = [];
  for (let i = 0; i < localStorage.length; i++) {
    const key = localStorage.key(i);
    if (!key.startsWith(prefix)) continue;
    try { found.push(JSON.parse(localStorage.getItem(key))); } catch { localStorage.removeItem(key); }
  }
  return found;
}

export const outbox = new Outbox();
