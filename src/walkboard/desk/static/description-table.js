// The ranks of the description as a table; a cell changes its one value in the text.
import { say } from "./words.js";

const text = document.getElementById("text");
const body = document.getElementById("rank-cells").tBodies[0];
const heads = [...document.querySelectorAll("#rank-cells thead th")].slice(1).map((one) => one.textContent);
const words = document.getElementById("table-words");
const choices = JSON.parse(document.getElementById("choices").textContent);
const FIELDS = ["name", "family", "feet", "tuned_by", "pipes", "from", "wind_mm"];
const details = document.getElementById("ranks-edit");
let timer = 0;
let asked = 0;

async function ask(change = {}) {
  const number = ++asked;
  const answer = await fetch("/organs/table", {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify({ text: text.value, ...change }),
  }).catch(() => null);
  if (number !== asked) return; // more was changed since
  const reply = answer ? await answer.json() : { what: say("offline") };
  words.textContent = reply.what ?? "";
  if (reply.rows === undefined) return;
  if (reply.text !== text.value) {
    text.value = reply.text;
    text.dispatchEvent(new Event("input")); // the checker looks again
  }
  const at = document.activeElement;
  const kept = body.contains(at) ? at.getAttribute("aria-label") : null;
  body.replaceChildren(...reply.rows.map(row));
  if (kept) [...body.querySelectorAll("[data-field]")].find((one) => one.getAttribute("aria-label") === kept)?.focus();
}

function row(rank) {
  const tr = document.createElement("tr");
  const head = document.createElement("th");
  head.scope = "row";
  head.textContent = rank.id;
  tr.append(head, ...FIELDS.map((field, place) => cell(rank, field, heads[place])));
  return tr;
}

function cell(rank, field, head) {
  const made = document.createElement(choices[field] ? "select" : "input");
  if (choices[field]) {
    const values = choices[field].includes(rank[field]) ? choices[field] : [rank[field], ...choices[field]];
    for (const value of values) made.add(new Option(value, value));
  }
  made.value = rank[field];
  made.dataset.field = field;
  made.setAttribute("aria-label", say("cell_of", { field: head, rank: rank.id }));
  made.addEventListener("change", () => ask({ id: rank.id, field, value: made.value }));
  made.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault(); // it would send the form
    made.blur();
  });
  const td = document.createElement("td");
  td.append(made);
  return td;
}

details.addEventListener("toggle", () => { if (details.open) ask(); });
text.addEventListener("input", () => {
  clearTimeout(timer);
  if (details.open) timer = setTimeout(ask, 350);
});
