// Ticking the worklist at the desk. Done is always Done; what is done or skipped is opened again by
// a button of its own.
import "./frame.js";
import { keepThisPage } from "./keep.js";
import { outbox } from "./outbox.js";
import { Rest } from "./presses.js";
import { Ticks } from "./ticks.js";
import { say } from "./words.js";

const list = document.getElementById("worklist");
const ticks = new Ticks(Number(list.dataset.visit), list.dataset.opened);
const rests = new Map(); // pipe -> Rest, of rows whose state has just changed

function paint() {
  for (const row of list.querySelectorAll(".pipe")) {
    const { pipe } = row.dataset;
    row.dataset.got ??= row.dataset.state;
    const state = ticks.stateOf(pipe, row.dataset.got);
    const shown = rests.get(pipe);
    if (!shown || shown.state !== state) {
      const rest = new Rest(row);
      if (shown) rest.begin();
      rests.set(pipe, { state, rest });
    } else shown.rest.moveTo(row);
    row.dataset.state = state;
    const isOpen = state === "open";
    row.querySelector(".pipe-done").hidden = isOpen;
    if (ticks.isOwn(pipe) && !isOpen) row.querySelector(".pipe-by").textContent = say(`by_${state}`);
    for (const button of row.querySelectorAll("[data-set]")) {
      const isSet = button.dataset.set === state;
      if (button.dataset.set !== "open") button.setAttribute("aria-pressed", String(isSet));
      const may = button.dataset.set === "open" ? !isOpen : button.dataset.set === "done" ? !isSet : isOpen;
      button.setAttribute("aria-disabled", String(!may || outbox.isUnpaired));
    }
  }
}

list.addEventListener("click", (event) => {
  const button = event.target.closest("[data-set]");
  if (!button || button.getAttribute("aria-disabled") === "true") return;
  const row = button.closest(".pipe");
  const { pipe } = row.dataset;
  if (rests.get(pipe)?.rest.isOn) return;
  const isOpening = button.dataset.set === "open";
  ticks.tick(pipe, button.dataset.set, isOpening ? ticks.uidOf(pipe, row.dataset.tick) : "");
  if (isOpening) row.querySelector('[data-set="done"]').focus({ preventScroll: true }); // its own button goes
});
ticks.addEventListener("change", paint);
outbox.addEventListener("change", paint);
paint();
keepThisPage();
