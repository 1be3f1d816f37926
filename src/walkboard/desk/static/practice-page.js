// Practice: what the hand and the key holder would do, on buttons.
import { keyName, onMeasured } from "./measured.js";
import { decimal, say } from "./words.js";

const place = (id) => document.getElementById(id);
const moves = JSON.parse(place("practice-moves").textContent);
const write = (id, words) => { if (place(id).textContent !== words) place(id).textContent = words; };
// One after the other: what is pressed first arrives first. A lost link says so in its own words.
let last = Promise.resolve();
const post = (door) => { last = last.then(() => fetch(`/practice/${door}`, { method: "POST" })).catch(() => {}); };

onMeasured((update, before) => {
  if (!update.on) { if (before) location.reload(); return; }
  write("practice-progress", say("practice_progress", { done: update.done, total: update.total }));
  write("practice-rank", update.pipe ? say("practice_place", { rank: update.rank }) : say("practice_end"));
  write("practice-key", update.pipe ? keyName(update.key) : "");
  write("practice-target", update.pipe ? say("practice_target", { hz: decimal(update.target) }) : "");
  if (update.pipe === before?.pipe) return;
  for (const button of document.querySelectorAll("[data-move]")) {
    button.disabled = !update.pipe;
    if (update.pipe) button.textContent = moves[update.pipe][button.dataset.words];
  }
});

for (const button of document.querySelectorAll("[data-move]")) button.onclick = () => post(`move/${button.dataset.move}`);
place("hold").onclick = () => {
  const isHeld = place("hold").getAttribute("aria-pressed") !== "true";
  place("hold").setAttribute("aria-pressed", String(isHeld));
  write("hold", say(isHeld ? "practice_release" : "practice_hold"));
  post(`do/${isHeld ? "hold" : "release"}`);
};
place("undo").onclick = () => post("do/undo");
place("skip").onclick = () => post("do/skip");
