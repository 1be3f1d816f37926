// Listening live, at the desk: choose what is listened to, see the level, stop.
import { live } from "./frame.js";
import { Microphone } from "./microphone.js";
import { say } from "./words.js";

const place = (id) => document.getElementById(id);
const { place: at, runs, kind } = place("live").dataset;
const BLOCK_FRAMES = 960; // 20 ms at 48 kHz
const MOST_WAITING = 100; // blocks that wait for the desk; older ones are lost, and counted

const write = (id, words) => { if (place(id).textContent !== words) place(id).textContent = words; };

function trouble(words) {
  place("live-trouble").hidden = !words;
  place("live-trouble").textContent = words;
}

async function post(door, body) {
  try {
    const answer = await fetch(`${at}/${door}`, { method: "POST", body, headers: { Accept: "application/json" } });
    const reply = answer.status === 204 ? {} : await answer.json();
    if (answer.ok) return reply;
    trouble([reply.trouble, reply.mend].filter(Boolean).join(" "));
  } catch {
    trouble(say("live_no_link"));
  }
  return null;
}

let naming = null; // what shows the pipe's reading; comes last, so that no press waits for it

let firstSeen = null;
live.on("listening", (update) => {
  if (update.on) {
    if (place("level")) place("level").value = Math.max(0, 60 + update.level.db);
    if (place("live-at") && naming) write("live-at", update.pipe ? say("live_at", { rank: update.rank, key: naming.keyName(update.key), done: update.done, total: update.total }) : "");
    // Started from another window; one value alone may be an old one.
    if (runs === "no" && !handing && firstSeen !== null && update.n !== firstSeen) location.reload();
    firstSeen ??= update.n;
  } else if (runs === "yes") location.reload();
});

if (place("stop")) place("stop").onclick = async () => { if (await post("stop")) location.reload(); };
if (place("beside")) place("beside").onchange = () => post(`reference?stop=${encodeURIComponent(place("beside").value)}`);
if (place("start-microphone"))
  place("start-microphone").onclick = async () => {
    if (await post(`start?source=microphone&device=${encodeURIComponent(place("device").value)}`)) location.reload();
  };
if (place("file"))
  place("file").onchange = async () => {
    const [file] = place("file").files;
    if (file && await post(`play?name=${encodeURIComponent(file.name)}`, file)) location.reload();
  };

// ---------------------------------------------------------------- the browser's own microphone
let handing = false;
if (place("start-browser")) place("start-browser").onclick = () => hand().catch((error) => trouble(say("live_no_access", { why: error.message })));

async function hand() {
  const microphone = await Microphone.open();
  handing = true;
  if (!await post(`start?source=browser&rate=${microphone.rate}`)) { handing = false; microphone.close(); return; }
  await showRunning();
  if (microphone.isFiltered) trouble(say("live_filtered"));
  let waiting = []; // { first, block }
  let count = 0;
  let isSending = false;
  async function send() {
    isSending = true;
    while (waiting.length && handing) {
      const sent = waiting;
      waiting = [];
      await post(`sound?first=${sent[0].first}`, new Blob(sent.map((one) => one.block)));
    }
    isSending = false;
  }
  microphone.hand(BLOCK_FRAMES, (block) => {
    waiting.push({ first: count, block });
    count += block.length;
    if (waiting.length > MOST_WAITING) waiting.shift();
    if (!isSending) send();
  });
  place("stop").onclick = async () => { handing = false; microphone.close(); await post("stop"); location.reload(); };
}

if (runs === "yes" && kind !== "browser") naming = await import("./measured.js");

// This page is the microphone, so only its parts are reloaded.
async function showRunning() {
  const page = new DOMParser().parseFromString(await (await fetch(location.href)).text(), "text/html");
  const found = page.getElementById("stop").closest("section");
  place("choose").replaceWith(found, page.getElementById("live-at"), page.getElementById("measured"));
  naming = await import("./measured.js");
  place("beside").onchange = () => post(`reference?stop=${encodeURIComponent(place("beside").value)}`);
}
