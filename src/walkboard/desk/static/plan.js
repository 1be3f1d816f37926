// Plans again as the slider moves: one question at a time, and then the newest.
import "./frame.js";
import { say } from "./words.js";

const form = document.getElementById("wish");
const slider = document.getElementById("minutes");
const words = document.getElementById("minutes-words");
const tried = document.getElementById("tried");
const trouble = document.getElementById("try-trouble");
let isAsking = false;
let isChanged = false;

async function ask() {
  words.textContent = slider.value;
  if (isAsking) { isChanged = true; return; }
  isAsking = true;
  tried.setAttribute("aria-busy", "true");
  try {
    const query = new URLSearchParams(new FormData(form));
    const answer = await fetch(`${form.dataset.try}?${query}`, { headers: { Accept: "text/html" } });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const isOpen = [...tried.querySelectorAll("details")].map((details) => details.open);
    const answered = tried.contains(document.activeElement) ? document.activeElement : null;
    tried.replaceChildren(...page.body.childNodes);
    if (answered?.name) sameField(answered)?.focus();
    [...tried.querySelectorAll("details")].forEach((details, n) => { details.open = isOpen[n] ?? false; });
    tried.dataset.minutes = query.get("minutes");
    trouble.hidden = true;
  } catch {
    trouble.textContent = say("no_link");
    trouble.hidden = false;
  } finally {
    isAsking = false;
    tried.setAttribute("aria-busy", "false");
  }
  if (isChanged) { isChanged = false; ask(); }
}

function sameField(field) {
  return [...tried.querySelectorAll("input")].find((one) => one.name === field.name && one.value === field.value);
}

form.addEventListener("input", ask);
if (tried.querySelector(".loading")) ask();
