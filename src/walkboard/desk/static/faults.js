// A fault fixed inside the organ, where there may be no network: it goes through the outbox, and the
// page says where it is until it is in the book. Without scripts the form is sent as it is.
import { refresh } from "./frame.js";
import { outbox } from "./outbox.js";
import { say } from "./words.js";

const form = document.getElementById("mend");
const place = document.getElementById("kept-here");

function mine() {
  return outbox.pending("mending").some((s) => String(s.body.fault) === form.dataset.fault);
}

function show() {
  const waiting = mine();
  place.hidden = !waiting;
  place.textContent = waiting ? say("kept_here") : "";
  form.querySelector("button").disabled = waiting;
}

if (form) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const given = new FormData(form);
    const visit = given.get("visit");
    outbox.set("mending", {
      fault: Number(form.dataset.fault), visit: visit ? Number(visit) : null, note: given.get("note").trim(),
    });
    show();
  });
  outbox.addEventListener("change", show);
  outbox.addEventListener("settled", (event) => {
    const { setting, outcome } = event.detail;
    if (setting.kind === "mending" && String(setting.body.fault) === form.dataset.fault && outcome.state === "kept")
      location.reload();
    else refresh();
  });
  show();
}
