// What every page does: follows the desk, says how the link is, shows what is not yet sent, and
// takes in the parts of the page that have changed.
import { forget } from "./keep.js";
import { Live } from "./live.js";
import { outbox } from "./outbox.js";
import { decimal, say } from "./words.js";

const root = document.documentElement;
const topics = ["book", "jobs", ...(document.body.dataset.topics ?? "").split(" ").filter(Boolean)];
export const live = new Live(topics);

// A device that was revoked has no link either, and must not wait for one: it asks who it is.
const ASK_MS = 4000;
let askedAt = -Infinity;
let wasUnpaired = false;
// Since when what is shown is kept on this device, where the desk did not answer for it (worker.js).
const keptAt = new Date(Number(root.dataset.kept ?? 0));
const keptWords = root.dataset.kept ? say("kept_since", { time: keptAt.toTimeString().slice(0, 5) }) : "";

live.onState((state, age) => {
  if (state === "off" && performance.now() - askedAt > ASK_MS) {
    askedAt = performance.now();
    outbox.ask();
  }
  const shownState = outbox.isUnpaired ? "unpaired" : state;
  root.dataset.link = shownState;
  write("link-words", say(`link_${shownState}`));
  place("pair-again").hidden = !outbox.isUnpaired;
  if (wasUnpaired && !outbox.isUnpaired) location.reload(); // paired again
  if (!wasUnpaired && outbox.isUnpaired) forget();
  wasUnpaired = outbox.isUnpaired;
  write("link-age", state === "behind" ? say("link_behind_by", { s: decimal(age / 1000) }) : state === "off" ? keptWords : "");
  if (state === "fresh" && outbox.pending().length) outbox.send();
});

function place(id) { return document.getElementById(id); }

function write(id, words) { if (place(id).textContent !== words) place(id).textContent = words; }

// On a phone the navigation is wider than the screen: the page that one is on stands in view.
const here = document.querySelector("#places [aria-current]");
if (here) {
  const row = document.getElementById("places");
  row.scrollLeft = here.offsetLeft - (row.clientWidth - here.offsetWidth) / 2;
}

function showOutbox() {
  const n = outbox.pending().length;
  write("unsent", n ? say("unsent", { n }) : "");
  const refused = outbox.refused();
  const notice = place("refused");
  notice.hidden = !refused.length;
  notice.replaceChildren();
  if (!refused.length) return;
  const title = document.createElement("p");
  title.textContent = say("refused", { n: refused.length });
  const list = document.createElement("ul");
  for (const setting of refused) {
    const item = document.createElement("li");
    item.textContent = `${setting.why} `;
    const button = document.createElement("button");
    button.textContent = say("refused_drop");
    button.onclick = () => { outbox.putAside(setting.uid); (notice.querySelector("button") ?? place("content")).focus(); };
    item.append(button);
    list.append(item);
  }
  notice.append(title, list);
}
outbox.addEventListener("change", showOutbox);
showOutbox();
outbox.send();

// Parts marked data-live (each with an id) are fetched again when the book has changed. What the
// user is typing in is left alone.
let shown = document.body.dataset.change;
let wanted = shown;
let fetching = false;

export async function refresh() {
  if (fetching || !document.querySelector("[data-live]")) return;
  fetching = true;
  try {
    const target = wanted;
    const askedAt = performance.now();
    const answer = await fetch(location.href, { headers: { Accept: "text/html", "Walkboard-Part": "1" } });
    if (!answer.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    // The navigation too: it says how many faults stand.
    for (const part of document.querySelectorAll("[data-live], #places")) {
      const next = page.getElementById(part.id);
      if (next && next.innerHTML !== part.innerHTML && !isTypedIn(part)) swap(part, next);
    }
    shown = target;
    dispatchEvent(new CustomEvent("walkboard:refreshed", { detail: { askedAt } }));
  } catch {
    // no link: the next value tries again
  } finally {
    fetching = false;
    if (shown !== wanted) setTimeout(refresh, 250);
  }
}

function isTypedIn(part) {
  const active = document.activeElement;
  if (part.id === "places") return part.contains(active); // a link that is stood on stays
  return part.contains(active) && active.matches("input:not([type=checkbox]):not([type=radio]), textarea, select");
}

function swap(part, next) {
  const focused = part.contains(document.activeElement) ? document.activeElement.id : "";
  part.replaceChildren(...next.childNodes);
  // A page that came before the desk was there is live as a whole, and only once.
  if (!next.hasAttribute("data-live")) part.removeAttribute("data-live");
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
}

live.on("book", (change) => { if (change !== shown) { wanted = change; refresh(); } });
