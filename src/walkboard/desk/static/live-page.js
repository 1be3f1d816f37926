// Listening live, at the desk: choose what is listened to, see the level, stop.
import { live } from "./frame.js";
import { say } from "./words.js";

const place = (id) => document.getElementById(id);
const { place: at, runs, kind } = place("live").dataset;
const MOST_WAITING = 100; // blocks of 20 ms that wait for the desk; older ones are lost, and counted

const write = (id, words) => { if (place(id).textContent !== words) place(id).textContent = words; };

function trouble(words) {
  place("live-trouble").hidden = !words;
  place("live-trouble").textContent = words;
}

async function post(door, body) {
  try {
    const answer = await fetch(`${at}/${door}`, { method: "POST", body, headers: { Accept: "application/json" } });
    const told = answer.status === 204 ? {} : await answer.json();
    if (answer.ok) return told;
    trouble([told.trouble, told.mend].filter(Boolean).join(" "));
  } catch {
    trouble(say("live_no_link"));
  }
  return null;
}

let naming = runs === "yes" && kind !== "browser" ? await import("./measured.js") : null;

let firstSeen = null;
live.on("listening", (told) => {
  if (told.on) {
    if (place("level")) place("level").value = Math.max(0, 60 + told.level.db);
    if (place("live-at") && naming) write("live-at", told.pipe ? say("live_at", { rank: told.rank, key: naming.keyName(told.key), done: told.done, total: told.total }) : "");
    // Started from another window; one value alone may be an old one.
    if (runs === "no" && !handing && firstSeen !== null && told.n !== firstSeen) location.reload();
    firstSeen ??= told.n;
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
  const asked = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 };
  const stream = await navigator.mediaDevices.getUserMedia({ audio: asked });
  const context = new AudioContext();
  await context.audioWorklet.addModule("/static/live-worklet.js");
  const node = new AudioWorkletNode(context, "handing", { numberOfOutputs: 0 });
  const got = stream.getAudioTracks()[0].getSettings();
  const end = () => { for (const track of stream.getTracks()) track.stop(); context.close(); };
  handing = true;
  if (!await post(`start?source=browser&rate=${context.sampleRate}`)) { handing = false; end(); return; }
  await showRunning();
  if (got.echoCancellation || got.noiseSuppression || got.autoGainControl) trouble(say("live_filtered"));
  let waiting = []; // { first, block }
  let count = 0;
  let isSending = false;
  node.port.onmessage = ({ data }) => {
    waiting.push({ first: count, block: data });
    count += data.length;
    if (waiting.length > MOST_WAITING) waiting.shift();
    if (!isSending) send();
  };
  async function send() {
    isSending = true;
    while (waiting.length && handing) {
      const sent = waiting;
      waiting = [];
      await post(`sound?first=${sent[0].first}`, new Blob(sent.map((one) => one.block)));
    }
    isSending = false;
  }
  context.createMediaStreamSource(stream).connect(node);
  place("stop").onclick = async () => { handing = false; end(); await post("stop"); location.reload(); };
}

// This page is the microphone, so it is not loaded anew: only its parts are.
async function showRunning() {
  const page = new DOMParser().parseFromString(await (await fetch(location.href)).text(), "text/html");
  const found = page.getElementById("stop").closest("section");
  place("choose").replaceWith(found, page.getElementById("live-at"), page.getElementById("measured"));
  naming = await import("./measured.js");
  place("beside").onchange = () => post(`reference?stop=${encodeURIComponent(place("beside").value)}`);
}
