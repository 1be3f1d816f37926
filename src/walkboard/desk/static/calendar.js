// Says that a calendar is being taken in, and follows how far the readiness is worked out.
import { live, refresh } from "./frame.js";

const form = document.getElementById("take");
form?.addEventListener("submit", () => {
  document.getElementById("taking").hidden = false;
  document.getElementById("take-it").disabled = true;
});

live.on("jobs", (jobs) => {
  const bar = document.getElementById("working-bar");
  if (!bar) return;
  const job = jobs.find((one) => one.id === bar.dataset.job);
  if (!job || ["done", "failed", "stopped"].includes(job.state)) refresh();
  else bar.value = job.share;
});
