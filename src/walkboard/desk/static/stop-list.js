// Reads the stop list while it is typed, and keeps what is changed in the table beside it.
import { say } from "./words.js";

const stops = document.getElementById("stops");
const table = document.getElementById("rows");
const body = table.tBodies[0];
const counts = document.getElementById("counts");
const problems = document.getElementById("problems");
const add = document.getElementById("add");
const text = document.getElementById("text");
const drawing = document.getElementById("drawing");
const { families, ways } = JSON.parse(document.getElementById("choices").textContent);
const SIGNS = { understood: "✓", guessed: "≈", asked: "?" };
const changes = {};
let timer = 0;
let asked = 0;

async function read() {
  const number = ++asked;
  document.body.dataset.reading = "yes";
  try {
    const answer = await fetch("/organs/from", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ text: stops.value, changes }),
    });
    const reply = await answer.json();
    if (number !== asked) return; // more was typed since
    if (!answer.ok) throw new Error(reply.what);
    show(reply);
  } catch (error) {
    if (number === asked) counts.textContent = error instanceof TypeError ? say("offline") : error.message;
  } finally {
    if (number === asked) document.body.dataset.reading = "no";
  }
}

function show(reply) {
  const at = document.activeElement;
  const kept = table.contains(at) ? [at.dataset.key, at.dataset.field] : null;
  body.replaceChildren(...reply.rows.map(row));
  table.hidden = reply.rows.length === 0;
  const parts = [reply.size];
  if (reply.counts.guessed) parts.push(say("count_guessed", { n: reply.counts.guessed }));
  if (reply.counts.asked) parts.push(say("count_asked", { n: reply.counts.asked }));
  counts.textContent = parts.filter(Boolean).join(" ") || say("empty");
  problems.replaceChildren(...reply.problems.map((one) => {
    const item = document.createElement("li");
    item.textContent = `${one.field}: ${one.what} ${one.mend}`;
    return item;
  }));
  text.value = reply.toml;
  add.disabled = !reply.toml || reply.problems.length > 0;
  drawing.innerHTML = reply.drawing; // made by the desk, every word in it escaped
  if (kept) {
    const again = [...body.querySelectorAll("[data-field]")].find((one) => one.dataset.key === kept[0] && one.dataset.field === kept[1]);
    again?.focus();
  }
}

function row(one) {
  const line = one.number;
  const tr = document.createElement("tr");
  tr.className = `line ${one.state} ${one.said}`;
  tr.dataset.key = one.key;
  tr.dataset.state = one.state;
  const head = document.createElement("th");
  head.scope = "row";
  const sign = document.createElement("span");
  sign.className = "how-sure";
  sign.setAttribute("aria-hidden", "true");
  sign.textContent = SIGNS[one.state];
  const state = document.createElement("span");
  state.className = "aside";
  state.textContent = ` (${say(one.state)})`;
  head.append(sign, one.is, state);
  tr.append(head);
  const why = [one.question, ...one.why].filter(Boolean);
  if (one.said === "stop") {
    tr.append(
      cell(input(one, line, "name"), one.words ? `${one.text} · ${one.words}` : one.text),
      cell(select(one, line, "family", families)),
      cell(input(one, line, "feet")),
      cell(select(one, line, "tuned_by", ways)),
      cell(input(one, line, "rows")),
      cell(input(one, line, "from")),
    );
  } else if (one.said === "division") {
    const keys = cell(input(one, line, "keys"));
    const box = input(one, line, "enclosed", "checkbox");
    box.checked = one.cells.enclosed === "true";
    const label = document.createElement("label");
    label.append(box, ` ${say("enclosed")}`);
    const boxed = cell(label);
    boxed.colSpan = 4;
    tr.append(cell(input(one, line, "name"), one.text), keys, boxed);
  } else {
    const said = cell(document.createTextNode(one.words || one.text), one.words ? one.text : "");
    said.colSpan = 6;
    tr.append(said);
  }
  const last = tr.lastElementChild;
  if (why.length || one.state !== "understood") last.append(note(one, line, why));
  return tr;
}

// The reason of a guess, or the question, with the answers to choose from.
function note(one, line, why) {
  const box = document.createElement("span");
  box.className = "why";
  box.append(why.join(" "), " ");
  if (one.state === "asked" && one.said === "unknown") {
    const choice = select(one, line, "as", ["", "stop", "division", "remark"], { "": say("choose"), stop: say("as_stop"), division: say("as_division"), remark: say("as_remark") });
    const family = select(one, line, "family", ["", ...families]);
    box.append(choice, family);
  } else if (one.state === "guessed") {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "line";
    button.textContent = say("right");
    button.dataset.key = one.key;
    button.dataset.field = "as";
    button.addEventListener("click", () => change(one.key, "as", "as read"));
    box.append(button);
  }
  return box;
}

function cell(content, under = "") {
  const td = document.createElement("td");
  td.append(content);
  if (under) {
    const typed = document.createElement("span");
    typed.className = "why quiet";
    typed.textContent = under;
    td.append(typed);
  }
  return td;
}

function input(one, line, field, type = "text") {
  const made = document.createElement("input");
  made.type = type;
  if (type === "text") made.value = one.cells[field] ?? "";
  return fitted(made, one, line, field);
}

function select(one, line, field, values, names = {}) {
  const made = document.createElement("select");
  for (const value of values) made.add(new Option(names[value] ?? value, value));
  made.value = one.cells[field] ?? "";
  return fitted(made, one, line, field);
}

function fitted(made, one, line, field) {
  made.dataset.key = one.key;
  made.dataset.field = field;
  made.setAttribute("aria-label", say(field === "as" ? "is_of" : `${field}_of`, { line }));
  made.autocomplete = "off";
  if (one.guessed.includes(field)) made.classList.add("guess");
  made.addEventListener("change", () => {
    change(one.key, field, made.type === "checkbox" ? String(made.checked) : made.value);
  });
  made.addEventListener("keydown", (event) => {
    if (event.key === "Enter") event.preventDefault(); // it would send the form
    if (event.key === "Enter") made.blur();
  });
  return made;
}

function change(key, field, value) {
  changes[key] = { ...changes[key], [field]: value };
  read();
}

stops.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(read, 200); });
document.getElementById("file").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  if (!file) return;
  const answer = await fetch("/organs/from-file", { method: "POST", body: file }).catch(() => null);
  const reply = answer ? await answer.json() : {};
  if (reply.text === undefined) counts.textContent = reply.what ?? say("file_failed");
  else { stops.value = reply.text; read(); }
});
if (stops.value) read();
