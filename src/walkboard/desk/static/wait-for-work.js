// Reloads the page as soon as there is work for it.
import "./frame.js";

addEventListener("walkboard:refreshed", () => {
  if (document.getElementById("work-steps")) location.reload();
});
