// The live measurement at the pipe: the desk hears the pipe that the page shows, and the page goes
// on when the desk has heard it in tune.
import { newest, onMeasured, showElsewhereWhen } from "./measured.js";
import { current, goTo } from "./pipe.js";

const setup = JSON.parse(document.getElementById("measured-setup").textContent);
const AGAIN_MS = 1000;
let sentAt = 0;
let finishedSeen = null;
let withdrawnSeen = null;
let wanted = null; // { pipe, state } that the tuner chose and the desk has not taken up yet

showElsewhereWhen((update) => update.pipe !== current()?.pipe);

async function tell() {
  sentAt = performance.now();
  try {
    await fetch(setup.turn, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(wanted) });
  } catch {
    // said again while the desk tells of another pipe
  }
}

addEventListener("walkboard:pipe", ({ detail }) => {
  // A pipe that is done is only looked at; it is heard again when it is open again.
  wanted = detail.state === "done" ? null : { pipe: detail.pipe, state: detail.state };
  if (wanted && newest()?.on) tell();
});

onMeasured((update, before) => {
  if (!update.on) return;
  const isNews = update.finished && update.finished.n !== finishedSeen;
  finishedSeen = update.finished?.n ?? finishedSeen;
  if (before && isNews && update.finished.pipe === current()?.pipe) {
    wanted = null;
    dispatchEvent(new CustomEvent("walkboard:heard-done", { detail: { pipe: update.finished.pipe, next: update.pipe } }));
    return;
  }
  const isTakenBack = update.withdrawn && update.withdrawn.n !== withdrawnSeen;
  withdrawnSeen = update.withdrawn?.n ?? withdrawnSeen;
  if (before && isTakenBack) {
    wanted = null;
    dispatchEvent(new CustomEvent("walkboard:heard-open", { detail: { pipe: update.withdrawn.pipe } }));
    return;
  }
  if (!before && update.pipe) { goTo(update.pipe); wanted = null; return; } // opened while it runs
  if (!before?.on && current()) wanted ??= { pipe: current().pipe, state: "open" }; // it begins here
  if (wanted?.pipe === update.pipe) wanted = null;
  if (wanted && performance.now() - sentAt > AGAIN_MS) tell();
});

document.getElementById("m-there").onclick = () => { if (newest()?.pipe) goTo(newest().pipe); };
