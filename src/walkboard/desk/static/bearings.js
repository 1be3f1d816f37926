// Laying the bearings: each interval's beats as the keys stand, and the key that is listened to.
import { live } from "./frame.js";
import { decimal, say } from "./words.js";

const place = (id) => document.getElementById(id);
const { place: at, runs } = place("bearings").dataset;

function trouble(words) {
  place("bearings-trouble").hidden = !words;
  place("bearings-trouble").textContent = words;
}

async function post(door, body, type) {
  try {
    const headers = { Accept: "application/json", ...(type ? { "Content-Type": type } : {}) };
    const answer = await fetch(`${at}/${door}`, { method: "POST", body, headers });
    const reply = await answer.json();
    if (answer.ok) return reply;
    trouble([reply.trouble, reply.mend].filter(Boolean).join(" "));
  } catch {
    trouble(say("b_no_link"));
  }
  return null;
}

if (runs === "no") {
  const stop = () => encodeURIComponent(place("bearing-stop").value);
  if (place("begin-microphone"))
    place("begin-microphone").onclick = async () => {
      if (await post(`bearings/start?stop=${stop()}&device=${encodeURIComponent(place("device").value)}`)) location.reload();
    };
  if (place("bearing-file"))
    place("bearing-file").onchange = async () => {
      const [file] = place("bearing-file").files;
      if (file && await post(`bearings/play?stop=${stop()}&name=${encodeURIComponent(file.name)}`, file)) location.reload();
    };
} else {
  const { keyName, onMeasured } = await import("./measured.js");
  onMeasured((update, before) => {
    if (!update.on) { if (before) location.reload(); return; }
    if (update.pipe === before?.pipe) return;
    place("bearings-key").textContent = update.pipe ? keyName(update.key) : "";
    for (const row of document.querySelectorAll("tr[data-pipe]"))
      row.toggleAttribute("aria-current", !("closes" in row.dataset) && row.dataset.pipe === update.pipe);
  });
  for (const button of document.querySelectorAll("[data-go]"))
    button.onclick = () => post("live/turn", JSON.stringify({ pipe: button.dataset.go, state: "open" }), "application/json");
  if (place("bearings-end")) place("bearings-end").onclick = () => post("live/stop");
  live.on("bearings", ({ heard }) => { for (const one of heard) show(one); });
}

const write = (part, words) => { if (part.textContent !== words) part.textContent = words; };
const beats = (hz) => Math.abs(hz) < 0.05 ? say("b_still") : say(hz > 0 ? "b_wide" : "b_narrow", { beats: decimal(Math.abs(hz)) });
function off(cents) {
  const size = decimal(Math.abs(cents));
  return say(Math.abs(cents) < 0.5 ? "b_good" : cents > 0 ? "b_sharp" : "b_flat", { cents: size });
}

function show({ n, by, checks }) {
  const row = document.querySelector(`tr[data-n="${n}"]`);
  if (!row) return;
  write(row.querySelector("[data-beat]"), by ? beats(by.beat) : say("b_none"));
  write(row.querySelector("[data-off]"), by ? off(by.cents) : "");
  for (const [at, check] of Object.entries(checks))
    write(row.querySelector(`[data-check="${at}"]`), `→ ${beats(check.beat)} ${off(check.cents)}`);
}
