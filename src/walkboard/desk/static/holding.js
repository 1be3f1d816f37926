// The key to hold: by hand, by an even pace, or as the tuner goes on.
import { live } from "./frame.js";
import { stayAwake } from "./awake.js";
import { keepThisPage } from "./keep.js";
import { say } from "./words.js";

const place = (id) => document.getElementById(id);
const read = () => JSON.parse(place("work-steps").textContent);
let work = read();
const isWalk = work.kind === "walk";
const KEPT = `walkboard.hold.${location.pathname}`;
let steps = work.steps;
let at = 0;

function write(id, words) { if (place(id) && place(id).textContent !== words) place(id).textContent = words; }
const words = (step) => step?.key || "–";

function show() {
  const step = steps[at];
  write("now", step ? words(step) : say(isWalk ? "walk_over" : "work_over"));
  document.querySelector(".hold").classList.toggle("over", !step);
  write("last", at > 0 ? words(steps[at - 1]) : "");
  write("next", at + 1 < steps.length ? words(steps[at + 1]) : "");
  write("place", step ? say("place", { at: at + 1, n: steps.length }) : "");
  write("heard", step?.heard ? say(`heard_${step.heard}`) : "");
  place("heard").classList.remove("fresh-only");
  if (step?.draw) write("draw", step.draw);
  for (const board of document.querySelectorAll(".board")) {
    board.hidden = Boolean(step) && board.dataset.division !== step.division;
    for (const key of board.querySelectorAll(".held, .coming-key")) key.classList.remove("held", "coming-key");
    if (!step || board.hidden) continue;
    board.querySelector(`[data-key="${step.semitone}"]`)?.classList.add("held");
    const next = steps[at + 1];
    if (next && next.division === step.division && next.semitone !== step.semitone)
      board.querySelector(`[data-key="${next.semitone}"]`)?.classList.add("coming-key");
  }
  if (isWalk) sessionStorage.setItem(KEPT, String(at));
}

function go(to) {
  at = Math.min(Math.max(to, 0), isWalk ? steps.length : steps.length - 1);
  place("time").value = 0;
  show();
}

function byHand(to) {
  if (place("follow")) place("follow").checked = false;
  if (begun) begun = performance.now();
  go(to);
}

// ---------------------------------------------------------------- an even pace
let begun = 0; // 0: by hand
let timer = 0;
const seconds = (id, least) => Math.max(least, Number(place(id).value) || least);

function run(isOn) {
  clearInterval(timer);
  begun = isOn ? performance.now() : 0;
  place("run").setAttribute("aria-pressed", String(isOn));
  write("run", say(isOn ? "pause" : "run"));
  place("time").value = 0;
  letGo(false);
  if (isOn) timer = setInterval(pace, 50);
}

function letGo(isGap) {
  document.querySelector(".hold").classList.toggle("between", isGap);
}

function pace() {
  const past = (performance.now() - begun) / 1000;
  const hold = seconds("pace", 1);
  place("time").value = Math.min(1, past / hold);
  letGo(past > hold);
  if (past < hold + seconds("gap", 0)) return;
  begun = performance.now();
  letGo(false);
  go(at + 1);
  if (at >= steps.length) run(false);
}

if (isWalk) {
  for (const id of ["pace", "gap"]) {
    place(id).value = localStorage.getItem(`walkboard.${id}`) ?? place(id).value;
    place(id).addEventListener("change", () => localStorage.setItem(`walkboard.${id}`, place(id).value));
  }
  place("run").onclick = () => {
    if (at >= steps.length) go(0);
    run(!begun);
  };
}

// ---------------------------------------------------------------- by hand, keyboard, foot switch
place("go-on").onclick = () => byHand(at + 1);
place("go-back").onclick = () => byHand(at - 1);
addEventListener("keydown", (event) => {
  const isTyping = event.target.matches("input, select, textarea");
  const isPressing = event.target.matches("button, a, summary") && [" ", "Enter"].includes(event.key);
  const isFoot = ["PageDown", "PageUp"].includes(event.key);
  if ((isTyping && !isFoot) || isPressing || event.ctrlKey || event.altKey || event.metaKey) return;
  const step = { " ": 1, ArrowRight: 1, ArrowDown: 1, PageDown: 1, Enter: 1, ArrowLeft: -1, ArrowUp: -1, PageUp: -1 }[event.key];
  if (!step) return;
  event.preventDefault();
  byHand(at + step);
});

// ---------------------------------------------------------------- what was heard
const isWanting = (step) => step.heard !== "yes";
let isOnlyMissed = false;

function showMissed() {
  const button = place("only-missed");
  if (!button) return;
  const missed = work.steps.filter(isWanting);
  const isKnown = work.steps.some((step) => step.heard);
  button.hidden = !isOnlyMissed && (!isKnown || !missed.length);
  button.textContent = isOnlyMissed ? say("all_keys") : say("only_missed", { n: missed.length });
}
if (place("only-missed"))
  place("only-missed").onclick = () => {
    isOnlyMissed = !isOnlyMissed;
    steps = isOnlyMissed ? work.steps.filter(isWanting) : work.steps;
    showMissed();
    go(0);
  };

if (work.visit !== null)
  live.on(`holds.${work.visit}`, (update) => {
    const step = steps[at];
    if (!step || update.key !== step.semitone) return;
    write("heard", say(update.state === "enough" ? "live_enough" : "live_more"));
    place("heard").classList.add("fresh-only");
  });

// ---------------------------------------------------------------- with the tuner
let tunerAt = "";
function follow() {
  if (!place("follow")?.checked) return;
  let to = steps.findIndex((step) => step.pipe === tunerAt);
  if (to < 0) to = steps.findIndex((step) => step.state === "open");
  if (to >= 0) go(to); else { at = steps.length; show(); }
}
if (!isWalk) {
  live.on(work.follows, (update) => { tunerAt = update.pipe; follow(); });
  place("follow").addEventListener("change", follow);
}

addEventListener("walkboard:refreshed", () => {
  if (!place("work-steps")) { location.reload(); return; }
  const pipe = steps[at]?.pipe;
  work = read();
  if (!isOnlyMissed) steps = work.steps;
  if (isWalk) { show(); showMissed(); return; }
  const to = steps.findIndex((step) => step.pipe === pipe);
  at = to < 0 ? 0 : to;
  if (place("follow").checked) follow(); else show();
});

// ---------------------------------------------------------------- the screen stays on where it may
stayAwake((isOn) => write("wake", say(isOn ? "stays_awake" : "may_sleep")));

if (isWalk) { at = Math.min(Number(sessionStorage.getItem(KEPT)) || 0, steps.length - 1); show(); showMissed(); }
else follow();
keepThisPage();
