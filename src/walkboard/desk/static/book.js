// Follows how far a file of the whole book is made, and hands over the one that was asked for here.
import { live, refresh } from "./frame.js";

const asked = location.hash.startsWith("#export-") ? location.hash.slice(1) : "";
let isWaiting = Boolean(asked && document.querySelector(`#${CSS.escape(asked)} .making`));

live.on("jobs", (jobs) => {
  for (const bar of document.querySelectorAll(".making")) {
    const job = jobs.find((one) => one.id === bar.dataset.job);
    if (!job || ["done", "failed", "stopped"].includes(job.state)) refresh();
    else bar.value = job.share;
  }
});

addEventListener("walkboard:refreshed", () => {
  const part = isWaiting && document.getElementById(asked);
  if (!part || part.querySelector(".making")) return;
  isWaiting = false;
  part.querySelector("a[download]")?.click();
});
