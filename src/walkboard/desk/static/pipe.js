// At the pipe: works on the worklist that the page holds, so that it needs no link.
//
// A live measurement has its place in #measured; it learns of the pipe from the event
// "walkboard:pipe" on the window, whose detail is the step: pipe, target_hz, cents, state …; what
// it heard in tune, and the desk has ticked, it reports as "walkboard:heard-done": { pipe, next }.
//
// No button changes its meaning: Done is always Done, and what is done is opened again by a button
// of its own, away from the thumb.
import { stayAwake } from "./awake.js";
import { buzz } from "./buzz.js";
import { fit } from "./fit.js";
import { live } from "./frame.js";
import { keepThisPage } from "./keep.js";
import { outbox } from "./outbox.js";
import { Presses, Rest } from "./presses.js";
import { Ticks } from "./ticks.js";
import { decimal, say } from "./words.js";

const place = (id) => document.getElementById(id);
const read = () => JSON.parse(place("work-steps").textContent);
let work = read();
const KEPT = `walkboard.at.${work.visit}.${work.opened}`;
const ticks = new Ticks(work.visit, work.opened);
const presses = new Presses(`${work.visit}.${work.opened}`);
const rest = new Rest(place("thumb"));
const undone = new Set(); // faults taken back here, which the page may still hold
let at = localStorage.getItem(KEPT);
let isRevisiting = false;
let sentFor = "";
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

// Focus stays on a button that cannot be pressed just now, so `disabled` will not do.
const allow = (id, may) => place(id).setAttribute("aria-disabled", String(!may));
const may = (id) => place(id).getAttribute("aria-disabled") !== "true";

function show() {
  const step = current();
  place("one").hidden = !step;
  place("all-done").hidden = Boolean(step);
  const skipped = work.steps.filter((s) => stateOf(s) === "skipped").length;
  write("left-words", skipped ? say("left_words", { n: skipped }) : "");
  place("revisit").hidden = !skipped;
  const state = step ? stateOf(step) : "";
  const isPaired = !outbox.isUnpaired;
  allow("next", Boolean(step));
  allow("done", isPaired && step && state !== "done");
  allow("skip", isPaired && step && state === "open");
  allow("fault", isPaired && Boolean(step));
  allow("undo", isPaired && !presses.isEmpty);
  allow("reopen", isPaired && step && state !== "open");
  if (!step) return;
  const open = work.steps.filter((s) => stateOf(s) === "open");
  const minutes = Math.round(open.reduce((sum, s) => sum + s.minutes, 0));
  write("progress-words", say("progress_words", { place: indexOf(at) + 1, n: work.steps.length, left: open.length, minutes }));
  place("progress").value = 1 - open.length / work.steps.length;
  write("rank", step.rank);
  write("key", step.key || "–");
  write("stop", step.stop || step.rank);
  write("number", say("pipe_number", { n: step.number }));
  const size = decimal(Math.abs(step.cents));
  const way = size === decimal(0) ? "in_tune" : step.cents > 0 ? "sharp" : "flat";
  write("sign", { in_tune: "●", sharp: "▲", flat: "▼" }[way]);
  write("off", say(way, { cents: size }));
  write("hand", step.hand);
  write("hz", say("hz", { hz: step.hz }));
  write("draw", step.draw);
  fit(place("stop"));
  place("state").hidden = state === "open";
  if (state !== "open") write("state-words", stateWords(step, state));
  write("differ", ticks.isOwn(step.pipe) ? "" : step.differ);
  showFaults(step);
  if (place("one").dataset.pipe !== step.pipe || place("one").dataset.state !== state) {
    Object.assign(place("one").dataset, { pipe: step.pipe, state });
    rest.begin();
    dispatchEvent(new CustomEvent("walkboard:pipe", { detail: { ...step, state } }));
  }
}

// Who did it matters only where it was another device.
function stateWords(step, state) {
  const isOurs = ticks.isOwn(step.pipe) || step.by === work.me;
  return isOurs ? say(`state_${state}`) : say(`state_${state}_by`, { by: step.by || say("desk"), at: step.at });
}

function faultsOf(step) {
  const own = presses.faultsOf(step.pipe);
  return [...new Set([...step.faults.filter((kind) => !undone.has(`${step.pipe} ${kind}`)), ...own])];
}

function showFaults(step) {
  const noted = faultsOf(step);
  const words = noted.map((kind) => place("faults").querySelector(`[data-kind="${kind}"]`)?.dataset.words ?? kind);
  place("noted").hidden = !noted.length;
  write("noted", noted.length ? say("noted", { faults: words.join(", ") }) : "");
  for (const button of place("faults").querySelectorAll("[data-kind]")) {
    const isNoted = noted.includes(button.dataset.kind);
    button.setAttribute("aria-disabled", String(isNoted));
    button.textContent = isNoted ? say("fault_noted", { fault: button.dataset.words }) : button.dataset.words;
  }
}

function go(step) {
  at = step?.pipe ?? "";
  localStorage.setItem(KEPT, at);
  show();
  sentFor = "";
  tell();
}

// What a press sets, where it may be pressed now.
function onPress(id, act) {
  place(id).onclick = () => {
    if (rest.isOn || !may(id)) return;
    act(current());
  };
}

function set(step, state) {
  const was = stateOf(step);
  const uid = ticks.tick(step.pipe, state);
  presses.push({ what: "tick", pipe: step.pipe, was, uid });
  buzz();
  write("said", say(state === "done" ? "said_done" : "said_skipped", { key: step.key }));
  go(nextOpen(indexOf(at)));
}

onPress("done", (step) => set(step, "done"));
onPress("skip", (step) => set(step, "skipped"));
onPress("reopen", (step) => {
  const was = stateOf(step);
  const uid = ticks.tick(step.pipe, "open", ticks.uidOf(step.pipe, step.tick));
  presses.push({ what: "tick", pipe: step.pipe, was, uid });
  buzz();
  write("said", say("said_undone", { key: step.key }));
  show();
});
onPress("undo", () => {
  const last = presses.pop();
  const step = work.steps[indexOf(last.pipe)];
  buzz();
  if (last.what === "fault") {
    outbox.set("pipe-fault-undone", { visit: work.visit, opened: work.opened, fault: last.uid });
    undone.add(`${last.pipe} ${last.kind}`);
    write("said", say("said_fault_undone", { key: step?.key ?? "" }));
  } else {
    ticks.tick(last.pipe, last.was, ticks.uidOf(last.pipe, last.uid || step?.tick || ""));
    write("said", say("said_undone", { key: step?.key ?? "" }));
  }
  rest.begin(); // also where the same pipe stays
  if (step) go(step); else show();
});
place("next").onclick = () => { if (may("next")) go(work.steps[(indexOf(at) + 1) % work.steps.length]); };
place("back").onclick = () => {
  const here = indexOf(at) < 0 ? work.steps.length : indexOf(at);
  go(work.steps[(here - 1 + work.steps.length) % work.steps.length]);
};
place("revisit").onclick = () => { isRevisiting = true; go(nextOpen(-1)); };

export function goTo(pipe) { if (pipe !== at && indexOf(pipe) >= 0) go(work.steps[indexOf(pipe)]); }
addEventListener("walkboard:heard-done", ({ detail }) => {
  const step = work.steps[indexOf(detail.pipe)];
  if (!step) return;
  presses.push({ what: "tick", pipe: step.pipe, was: "open", uid: "" });
  buzz([60, 80, 60]);
  write("said", say("said_done", { key: step.key }));
  go(work.steps[indexOf(detail.next)] ?? nextOpen(indexOf(step.pipe)));
});

// What was done has moved away since: the desk has opened it again.
addEventListener("walkboard:heard-open", ({ detail }) => {
  const step = work.steps[indexOf(detail.pipe)];
  if (!step) return;
  buzz([200]);
  go(step);
});

// ---------------------------------------------------------------- faults
const dialog = place("faults");
onPress("fault", () => dialog.showModal());
place("no-fault").onclick = () => dialog.close();
dialog.addEventListener("click", ({ target }) => {
  const button = target.closest("[data-kind]");
  if (!button || button.getAttribute("aria-disabled") === "true") return;
  const step = current();
  const { kind } = button.dataset;
  const uid = outbox.set("pipe-fault", { visit: work.visit, opened: work.opened, pipe: step.pipe, kind, words: "" });
  undone.delete(`${step.pipe} ${kind}`);
  presses.push({ what: "fault", pipe: step.pipe, kind, uid });
  buzz();
  write("said", say("said_fault", { key: step.key }));
  dialog.close();
  show();
});

// ---------------------------------------------------------------- where the tuner stands
// Not through the outbox: of a place only the newest counts. One at a time, for two that are under
// way together may arrive in the other order, and the older one would stay.
let telling = false;
async function tell() {
  if (telling) return;
  telling = true;
  try {
    while (at && sentFor !== at) {
      const pipe = at;
      const answer = await fetch(work.place, {
        method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ pipe }),
        signal: AbortSignal.timeout(TELL_WAIT_MS),
      });
      if (!answer.ok) break;
      sentFor = pipe;
    }
  } catch {
    // sent again when the link is back
  } finally {
    telling = false;
  }
}
let wasFresh = true;
live.onState((state) => {
  const isFresh = state === "fresh";
  if (isFresh && !wasFresh) sentFor = ""; // the desk may have been started again
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

outbox.addEventListener("change", show);
addEventListener("resize", () => fit(place("stop")));

// Said only where it matters: there is little room.
const notes = { sleep: "", kept: "" };
function note(about, words) { notes[about] = words; place("wake").textContent = Object.values(notes).filter(Boolean).join(" "); }
stayAwake((isOn) => note("sleep", isOn ? "" : say("may_sleep")));
keepThisPage().then((isKept) => note("kept", isKept ? "" : say("not_kept")));
