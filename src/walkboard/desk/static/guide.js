// Follows how far the guide is made.
import { live, refresh } from "./frame.js";

live.on("jobs", (jobs) => {
  const bar = document.getElementById("working-bar");
  if (!bar) return;
  const job = jobs.find((one) => one.id === bar.dataset.job);
  if (!job || ["done", "failed", "stopped"].includes(job.state)) refresh();
  else bar.value = job.share;
});
