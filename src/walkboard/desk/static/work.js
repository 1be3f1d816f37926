// Ticking the worklist at the desk.
import "./frame.js";
import { Ticks } from "./ticks.js";

const list = document.getElementById("worklist");
const ticks = new Ticks(Number(list.dataset.visit));

function paint() {
  for (const row of list.querySelectorAll(".pipe")) {
    row.dataset.got ??= row.dataset.state;
    const state = ticks.stateOf(row.dataset.pipe, row.dataset.got);
    row.dataset.state = state;
    for (const button of row.querySelectorAll("[data-set]"))
      button.setAttribute("aria-pressed", String(button.dataset.set === state));
  }
}

list.addEventListener("click", (event) => {
  const button = event.target.closest("[data-set]");
  if (!button) return;
  const row = button.closest(".pipe");
  ticks.tick(row.dataset.pipe, row.dataset.state === button.dataset.set ? "open" : button.dataset.set);
});
ticks.addEventListener("change", paint);
paint();
