// Counts down while a pairing code works, and takes it away when it has run out.
import { say } from "./words.js";

const sheet = document.getElementById("code");
const place = document.getElementById("left");
const ends = performance.now() + 1000 * Number(sheet.dataset.seconds);

const timer = setInterval(() => {
  const n = Math.ceil((ends - performance.now()) / 1000);
  if (n > 0) {
    place.textContent = say("left", { n });
  } else {
    clearInterval(timer);
    sheet.replaceChildren(say("over"));
  }
}, 250);
