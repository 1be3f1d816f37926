// Takes recordings in: chosen, dropped, or recorded here; and shows how far each is.
import { live, refresh } from "./frame.js";
import "./survey.js";
import { Recording } from "./recording.js";
import { decimal, say } from "./words.js";

const form = document.getElementById("taking");
const place = (id) => document.getElementById(id);
const airs = JSON.parse(place("airs").textContent);
const boxes = [...form.querySelectorAll("[name=stop]")];

let recording = null;
let timer = 0;

form.addEventListener("submit", (event) => event.preventDefault());

// ---------------------------------------------------------------- what was drawn
function drawn() { return boxes.filter((box) => box.checked); }

function showDrawn() {
  place("drawn-words").textContent = drawn().map((box) => box.dataset.name).join(", ") || say("drawn_none");
  const noted = [...new Set(drawn().map((box) => box.dataset.division))].map((id) => airs[id]).filter((c) => c !== undefined);
  if (!place("air").dataset.typed)
    place("air").value = noted.length ? decimal(noted.reduce((a, b) => a + b) / noted.length) : "";
}
place("air").addEventListener("input", () => { place("air").dataset.typed = "yes"; });
form.addEventListener("change", ({ target }) => {
  if (target.id === "walk") {
    const wanted = new Set(target.value.split(","));
    if (target.value) for (const box of boxes) box.checked = wanted.has(box.value);
    else place("stops").open = true;
    delete place("air").dataset.typed;
    showDrawn();
  } else if (target.name === "stop") {
    const now = drawn().map((box) => box.value).sort().join();
    const walk = place("walk");
    if (walk) walk.value = [...walk.options].find((o) => o.value.split(",").sort().join() === now)?.value ?? "";
    showDrawn();
  }
});
showDrawn();

// ---------------------------------------------------------------- sending
// A file that is on its way is lost with the page: the browser asks before it goes, and the page
// that comes after says which file it was.
const SENDING = `walkboard.sending.${form.dataset.visit}`;
const onTheWay = () => JSON.parse(sessionStorage.getItem(SENDING) ?? "[]");
const setOnTheWay = (names) => sessionStorage.setItem(SENDING, JSON.stringify(names));
addEventListener("beforeunload", (event) => { if (onTheWay().length || recording) event.preventDefault(); });

function complain(words) {
  place("taking-trouble").textContent = words;
  place("taking-trouble").hidden = !words;
}

function isReady() {
  complain(drawn().length ? "" : say("no_stop"));
  return drawn().length > 0;
}

async function sendAll(files) {
  if (!isReady()) return;
  for (const file of files) await send(file);
}

function send(file) {
  const asked = new URLSearchParams({ name: file.name, drawn: drawn().map((box) => box.value).join(","), air: place("air").value });
  const item = document.createElement("li");
  place("sending").append(item);
  const show = (percent) => { item.textContent = say("sent_part", { name: file.name, percent }); };
  show(0);
  setOnTheWay([...onTheWay(), file.name]);
  return new Promise((resolve) => {
    const request = new XMLHttpRequest();
    request.open("POST", `${form.dataset.place}?${asked}`);
    request.setRequestHeader("Content-Type", "application/octet-stream");
    request.upload.onprogress = ({ loaded, total }) => show(Math.floor((100 * loaded) / (total || 1)));
    request.onloadend = () => {
      item.remove();
      setOnTheWay(onTheWay().filter((name) => name !== file.name));
      if (request.status === 201) refresh();
      else complain(say("send_failed", { name: file.name, why: reason(request) }));
      resolve();
    };
    request.send(file);
  });
}

function reason(request) {
  try {
    const said = JSON.parse(request.responseText);
    return `${said.trouble} ${said.mend ?? ""}`;
  } catch {
    return say("no_link");
  }
}

const lost = onTheWay();
setOnTheWay([]);
if (lost.length) complain(say("send_lost", { n: lost.length, names: lost.join(", ") }));

place("files").addEventListener("change", async ({ target }) => {
  const files = [...target.files];
  target.value = "";
  await sendAll(files);
});
const drop = place("drop");
for (const kind of ["dragenter", "dragover"])
  drop.addEventListener(kind, (event) => { event.preventDefault(); drop.classList.add("over"); });
for (const kind of ["dragleave", "drop"]) drop.addEventListener(kind, () => drop.classList.remove("over"));
drop.addEventListener("drop", (event) => { event.preventDefault(); sendAll([...event.dataTransfer.files]); });

// ---------------------------------------------------------------- recording here
if (Recording.isPossible()) place("recorder").hidden = false;

function showRecording(isOn) {
  place("record").hidden = isOn;
  for (const id of ["record-stop", "record-drop", "level"]) place(id).hidden = !isOn;
  if (!isOn) { clearInterval(timer); recording = null; }
}

place("record").addEventListener("click", async () => {
  if (!isReady()) return;
  const next = new Recording();
  try {
    await next.start();
  } catch (error) {
    place("record-state").textContent = say("no_microphone", { why: error.message });
    return;
  }
  recording = next;
  showRecording(true);
  place("record-stop").focus();
  if (recording.isFiltered) complain(say("filtered"));
  timer = setInterval(showLevel, 250);
});

function showLevel() {
  const db = recording.takePeakDb();
  place("level").value = Math.max(0, 60 + db);
  const level = say(db > -0.5 ? "level_loud" : db < -40 ? "level_soft" : "level_good");
  const whole = Math.floor(recording.seconds);
  const time = `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
  place("record-state").textContent = say("recording", { time, level });
}

place("record-stop").addEventListener("click", async () => {
  const file = recording.finish(`${nowWords()}.wav`);
  showRecording(false);
  place("record-state").textContent = "";
  place("record").focus();
  await send(file);
});
place("record-drop").addEventListener("click", () => {
  recording.drop();
  showRecording(false);
  place("record-state").textContent = "";
  place("record").focus();
});

function nowWords() {
  const now = new Date();
  const two = (n) => String(n).padStart(2, "0");
  return `walk-${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}-${two(now.getHours())}${two(now.getMinutes())}${two(now.getSeconds())}`;
}

// ---------------------------------------------------------------- being heard
let lastSeen = "";
live.on("jobs", (jobs) => {
  const own = jobs.filter((job) => job.subject.startsWith(`visit.${form.dataset.visit}.`));
  for (const sheet of document.querySelectorAll(".coming")) {
    const job = own.filter((one) => one.subject === sheet.dataset.subject).at(-1);
    const words = sheet.querySelector(".job-words");
    if (!job || !words) continue;
    sheet.querySelector("progress").value = job.share;
    if (["waiting", "running", "done"].includes(job.state))
      words.textContent = say(`job_${job.state}`, { percent: Math.round(100 * job.share) });
  }
  const now = own.map((job) => job.id + job.state).join();
  if (lastSeen && now !== lastSeen) refresh();
  lastSeen = now;
});
