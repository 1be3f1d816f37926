// At the pipe: works on the worklist that the page holds, so that it needs no link.
//
// A live measurement has its place in #measured; it learns of the pipe from the event
// "walkboard:pipe" on the window, whose detail is the step: pipe, target_hz, cents, state …; what
// it heard in tune, and the desk has ticked, it tells as "walkboard:heard-done": { pipe, next }.
import { stayAwake } from "./awake.js";
import { live } from "./frame.js";
import { outbox } from "./outbox.js";
import { Ticks } from "./ticks.js";
import { say } from "./words.js";

const place = (id) => document.getElementById(id);
const read = () => JSON.parse(place("work-steps").textContent);
let work = read();
const KEPT = `walkboard.at.${work.visit}`;
const ticks = new Ticks(work.visit);
const history = []; // { pipe, was }
let at = localStorage.getItem(KEPT);
let isRevisiting = false;
let toldOf = "";
const TELL_WAIT_MS = 4000; // for an answer

const stateOf = (step) => ticks.stateOf(step.pipe, step.state);
const indexOf = (pipe) => work.steps.findIndex((step) => step.pipe === pipe);
export const current = () => work.steps[indexOf(at)] ?? null;

function nextOpen(after) {
  const wanted = isRevisiting ? ["open", "skipped"] : ["open"];
  const n = work.steps.length;
  for (let k = 1; k <= n; k++) {
    const step = work.steps[(after + k + n) % n];
    if (wanted.includes(stateOf(step)) && !(isRevisiting && step.pipe === at)) return step;
  }
  return null;
}

function write(id, words) { if (place(id).textContent !== words) place(id).textContent = words; }

function show() {
  const step = current();
  place("one").hidden = !step;
  place("all-done").hidden = Boolean(step);
  const skipped = work.steps.filter((s) => stateOf(s) === "skipped").length;
  write("left-words", skipped ? say("left_words", { n: skipped }) : "");
  place("revisit").hidden = !skipped;
  for (const id of ["done", "skip", "next", "fault"]) place(id).disabled = !step;
  place("undo").disabled = !history.length;
  if (!step) return;
  const open = work.steps.filter((s) => stateOf(s) === "open");
  const minutes = Math.round(open.reduce((sum, s) => sum + s.minutes, 0));
  write("progress-words", say("progress_words", { place: indexOf(at) + 1, n: work.steps.length, left: open.length, minutes }));
  place("progress").value = 1 - open.length / work.steps.length;
  write("rank", step.rank);
  write("key", step.key || "–");
  write("number", say("pipe_number", { n: step.number }));
  const size = Math.abs(step.cents).toFixed(1);
  const way = size === "0.0" ? "in_tune" : step.cents > 0 ? "sharp" : "flat";
  write("sign", { in_tune: "●", sharp: "▲", flat: "▼" }[way]);
  write("off", say(way, { cents: size }));
  write("hand", step.hand);
  write("hz", say("hz", { hz: step.hz }));
  write("draw", step.draw);
  const state = stateOf(step);
  place("state").hidden = state === "open";
  if (state !== "open") write("state", say(`state_${state}`));
  write("done", say(state === "done" ? "not_done" : "done"));
  if (place("one").dataset.pipe !== step.pipe || place("one").dataset.state !== state) {
    Object.assign(place("one").dataset, { pipe: step.pipe, state });
    dispatchEvent(new CustomEvent("walkboard:pipe", { detail: { ...step, state } }));
  }
}

function go(step) {
  at = step?.pipe ?? "";
  localStorage.setItem(KEPT, at);
  show();
  toldOf = "";
  tell();
}

function set(state) {
  const step = current();
  const was = stateOf(step);
  history.push({ pipe: step.pipe, was });
  ticks.tick(step.pipe, state);
  write("said", say(state === "done" ? "said_done" : state === "skipped" ? "said_skipped" : "said_undone", { key: step.key }));
  if (state === "open") show();
  else go(nextOpen(indexOf(at)));
}

place("done").onclick = () => set(stateOf(current()) === "done" ? "open" : "done");
place("skip").onclick = () => set("skipped");
place("undo").onclick = () => {
  const last = history.pop();
  ticks.tick(last.pipe, last.was);
  const step = work.steps[indexOf(last.pipe)];
  if (step) { write("said", say("said_undone", { key: step.key })); go(step); } else show();
};
place("next").onclick = () => go(work.steps[(indexOf(at) + 1) % work.steps.length]);
place("back").onclick = () => {
  const here = indexOf(at) < 0 ? work.steps.length : indexOf(at);
  go(work.steps[(here - 1 + work.steps.length) % work.steps.length]);
};
place("revisit").onclick = () => { isRevisiting = true; go(nextOpen(-1)); };

export function goTo(pipe) { if (pipe !== at && indexOf(pipe) >= 0) go(work.steps[indexOf(pipe)]); }
addEventListener("walkboard:heard-done", ({ detail }) => {
  const step = work.steps[indexOf(detail.pipe)];
  if (!step) return;
  history.push({ pipe: step.pipe, was: "open" });
  write("said", say("said_done", { key: step.key }));
  go(work.steps[indexOf(detail.next)] ?? nextOpen(indexOf(step.pipe)));
});

// ---------------------------------------------------------------- faults
const dialog = place("faults");
place("fault").onclick = () => dialog.showModal();
place("no-fault").onclick = () => dialog.close();
dialog.addEventListener("click", ({ target }) => {
  const kind = target.closest("[data-kind]")?.dataset.kind;
  if (!kind) return;
  const step = current();
  outbox.set("pipe-fault", { visit: work.visit, pipe: step.pipe, kind, words: "" });
  write("said", say("said_fault", { key: step.key }));
  place("state").hidden = false;
  write("state", say("said_fault", { key: step.key }));
  dialog.close();
});

// ---------------------------------------------------------------- where the tuner stands
// Not through the outbox: of a place only the newest counts. One at a time, for two that are under
// way together may arrive in the other order, and the older one would stay.
let telling = false;
async function tell() {
  if (telling) return;
  telling = true;
  try {
    while (at && toldOf !== at) {
      const pipe = at;
      const answer = await fetch(work.place, {
        method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ pipe }),
        signal: AbortSignal.timeout(TELL_WAIT_MS),
      });
      if (!answer.ok) break;
      toldOf = pipe;
    }
  } catch {
    // told again when the link is back
  } finally {
    telling = false;
  }
}
let wasFresh = true;
live.onState((state) => {
  const isFresh = state === "fresh";
  if (isFresh && !wasFresh) toldOf = ""; // the desk may have been started again
  if (isFresh) tell();
  wasFresh = isFresh;
});

addEventListener("walkboard:refreshed", () => {
  const kept = document.getElementById("work-steps");
  if (!kept) { location.reload(); return; } // the visit is closed, or has no worklist any more
  work = read();
  if (indexOf(at) < 0) go(nextOpen(-1)); else show();
});
ticks.addEventListener("change", show);
if (indexOf(at) < 0 || stateOf(current()) !== "open") at = nextOpen(-1)?.pipe ?? "";
go(current());

// Told only where it matters: there is little room.
stayAwake((isOn) => { place("wake").textContent = isOn ? "" : say("may_sleep"); });
