// Keeps the screen on where the browser may: on encrypted pages and at the desk itself.
import { say } from "./words.js";

export function stayAwake(place) {
  const ask = async () => {
    let words = "stays_awake";
    try {
      await navigator.wakeLock.request("screen");
    } catch {
      words = "may_sleep";
    }
    if (place.textContent !== say(words)) place.textContent = say(words);
  };
  document.addEventListener("visibilitychange", () => document.hidden || ask());
  return ask();
}
