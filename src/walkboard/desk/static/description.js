// Checks a description while it is written, and sets each message beside its line.
import { say } from "./words.js";

const text = document.getElementById("text");
const list = document.getElementById("problems");
const verdict = document.getElementById("verdict");
const wide = matchMedia("(min-width: 60rem)");
let timer = 0;
let asked = 0;

async function check() {
  const number = ++asked;
  try {
    const answer = await fetch("/organs/check", { method: "POST", body: text.value });
    const found = await answer.json();
    if (number !== asked) return; // more was typed since
    verdict.textContent = found.problems.length ? say("found", { n: found.problems.length }) : found.size;
    list.replaceChildren(...found.problems.map(message));
    place();
  } catch {
    verdict.textContent = say("offline");
  }
}

function message(problem) {
  const item = document.createElement("li");
  item.dataset.line = problem.line ?? "";
  const button = document.createElement("button");
  button.type = "button";
  button.className = "line";
  button.textContent = problem.line ? say("line", { n: problem.line }) : "";
  const field = document.createElement("strong");
  field.textContent = problem.field;
  item.append(button, " ", field, ` ${problem.what} ${problem.mend}`);
  return item;
}

// Beside its line where there is room; one below the other where they would overlap; those whose
// line is out of sight at the edge that it lies beyond.
function place() {
  const items = [...list.children];
  for (const item of items) {
    item.classList.toggle("placed", wide.matches);
    item.style.top = "";
  }
  list.style.height = wide.matches ? `${text.offsetHeight}px` : "";
  if (!wide.matches) return;
  const style = getComputedStyle(text);
  const height = parseFloat(style.lineHeight);
  const heights = items.map((item) => item.offsetHeight + 4);
  let free = 0;
  const tops = items.map((item, i) => {
    const line = Number(item.dataset.line) || 1;
    const top = Math.max(free, (line - 1) * height + parseFloat(style.paddingTop) - text.scrollTop);
    free = top + heights[i];
    return top;
  });
  let limit = Math.max(text.offsetHeight, heights.reduce((sum, one) => sum + one, 0));
  for (let i = items.length - 1; i >= 0; i--) {
    tops[i] = Math.min(tops[i], limit - heights[i]);
    limit = tops[i];
    items[i].style.top = `${tops[i]}px`;
  }
}

list.addEventListener("click", (event) => {
  const line = Number(event.target.closest("li")?.dataset.line);
  if (!line || !event.target.matches("button")) return;
  const lines = text.value.split("\n");
  const start = lines.slice(0, line - 1).join("\n").length + (line > 1 ? 1 : 0);
  text.focus();
  text.setSelectionRange(start, start + (lines[line - 1] ?? "").length);
  const height = parseFloat(getComputedStyle(text).lineHeight);
  text.scrollTop = Math.max(0, (line - 4) * height);
  place(); // now, not when the scroll event comes a frame later
});
text.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(check, 350); });
text.addEventListener("scroll", place);
wide.addEventListener("change", place);
addEventListener("resize", place);
check();
