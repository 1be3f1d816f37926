// Shows the walks as soon as they are worked out.
import { live, refresh } from "./frame.js";

const isWaiting = document.querySelector("[data-survey=wait]") !== null;
let was = "";
live.on("jobs", (jobs) => {
  const now = jobs.filter((job) => job.kind === "survey").map((job) => job.id + job.state).join();
  if (now === was) return;
  was = now;
  if (!now.endsWith("done")) return;
  if (isWaiting) location.reload();
  else refresh();
});
