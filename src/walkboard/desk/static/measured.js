// The live measurement: the newest value, the last twenty seconds, and when it is too old to trust.
import { live } from "./frame.js";
import { decimal } from "./words.js";

const place = (id) => document.getElementById(id);
const setup = JSON.parse(place("measured-setup").textContent);
const DIM_MS = 700;
const BLANK_MS = 4000;
const COURSE_S = 20;
const FINISHED_MS = 8000;
const SCALES = [1, 3, 10, 30, 100];
const WIDTH = 330, MIDDLE = 52, HALF = 46;

export function say(key, values = {}) {
  let text = setup.words[key];
  if (typeof text !== "string") text = values.n === 1 ? text.one : text.other;
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}
export const keyName = (semitone) => setup.keys[semitone] ?? "–";
const write = (id, words) => { if (place(id).textContent !== words) place(id).textContent = words; };
const signed = (cents) => {
  const size = decimal(Math.abs(cents));
  return size === decimal(0) ? size : (cents > 0 ? "+" : "−") + size;
};

let value = null; // the newest
let isElsewhere = () => false; // whether the page shows another pipe than the desk listens to
let wasOn = false;
let gotAt = -Infinity;
let isSure = false; // the first value after a link may have waited at the desk
let course = []; // { s, cents, sigma }, cents null where nothing was heard
let side = "in";
let scale = 2;
let spokenAt = 0;
let finishedSeen = null;
let withdrawnSeen = null;
let finishedUntil = 0;
const followers = [];

// Follows what the desk tells: show(value, before).
export function onMeasured(show) { followers.push(show); }
export function showElsewhereWhen(test) { isElsewhere = test; }
export const newest = () => value;

live.on(setup.topic, (update) => {
  const before = value;
  const isNew = update.on !== before?.on || update.n !== before?.n;
  isSure = Boolean(before?.on && update.on && update.n !== before.n && performance.now() - gotAt < DIM_MS * 4) || !update.on;
  value = update;
  if (isNew) gotAt = performance.now();
  if (update.on) { wasOn = true; take(update, before); }
  show();
  for (const follow of followers) follow(update, before);
});
live.onState((state) => { if (state === "off") isSure = false; });

function take(update, before) {
  if (update.pipe !== before?.pipe) { course = []; side = "in"; }
  const s = update.heard_ms / 1000;
  if (update.finished && update.finished.n !== finishedSeen) {
    finishedSeen = update.finished.n;
    if (before?.on) finished(update.finished);
  }
  if (update.withdrawn && update.withdrawn.n !== withdrawnSeen) {
    withdrawnSeen = update.withdrawn.n;
    if (before?.on) withdrawn(update.withdrawn);
  }
  course.push({ s, cents: update.cents, sigma: update.sigma ?? 0 });
  while (course.length && course[0].s < s - COURSE_S) course.shift();
}

function finished(done) {
  const words = (cents) => (cents === null ? say("m_none") : signed(cents));
  write("m-finished", say("m_finished", { key: keyName(done.key), before: words(done.before), after: words(done.after) }));
  finishedUntil = performance.now() + FINISHED_MS;
  if (place("m-sound").checked) sound();
}

function withdrawn(pipe) {
  write("m-finished", say("m_withdrawn", { key: keyName(pipe.key), cents: pipe.stands === null ? say("m_none") : signed(pipe.stands) }));
  finishedUntil = performance.now() + FINISHED_MS;
}

function show() {
  place("measured").hidden = !wasOn; // one that was over before this page came is no news
  document.body.classList.toggle("is-live", Boolean(value?.on));
  if (!wasOn) return;
  place("m-finished").hidden = performance.now() > finishedUntil;
  for (const part of document.querySelectorAll(".m-now, .m-course, .m-level, .m-choice")) part.hidden = !value.on;
  place("m-there-row").hidden = true;
  if (!value.on) { over(); return; }
  const age = performance.now() - gotAt;
  const isOld = age > DIM_MS || !isSure;
  const away = isElsewhere(value);
  place("measured").toggleAttribute("data-old", isOld);
  place("measured").toggleAttribute("data-elsewhere", away);
  place("m-there-row").hidden = !away || value.pipe === null;
  showNumber(age > BLANK_MS || value.flags.includes("attack") ? null : value.cents);
  write("m-words", age > BLANK_MS ? say("m_nothing_new") : away && value.pipe !== null ? say("m_elsewhere", { key: keyName(value.key) }) : stepWords());
  write("m-settle", away || isOld ? "" : settleWords());
  write("m-caution", away || !value.move ? "" : value.move.caution);
  showLevel();
  draw();
  speak(isOld);
}

function over() {
  write("m-words", say("m_over"));
  write("m-settle", value.trouble || (value.file ? say("m_kept", { file: value.file }) : ""));
  write("m-caution", "");
  place("measured").removeAttribute("data-old");
  place("measured").removeAttribute("data-elsewhere");
}

// In tune has an edge on both sides, so that it does not flicker between two words.
function sideOf(cents) {
  const edge = side === "in" ? 1.25 * value.tolerance : 0.9 * value.tolerance;
  if (Math.abs(cents) <= edge) return "in";
  return cents > 0 ? "sharp" : "flat";
}

function showNumber(cents) {
  const isKnown = cents !== null && cents !== undefined;
  if (isKnown) side = sideOf(cents);
  write("m-sign", isKnown ? { in: "●", sharp: "▲", flat: "▼" }[side] : "");
  write("m-cents", isKnown ? decimal(Math.abs(cents)) : say("m_none"));
  write("m-word", isKnown ? say(`m_${side}`) : "");
  write("m-sigma", isKnown && value.sigma !== null ? say("m_sigma", { sigma: value.sigma < 0.1 ? decimal(Math.max(0.01, value.sigma), 2) : decimal(value.sigma) }) : "");
  const beats = isKnown && value.beats !== null ? decimal(Math.abs(value.beats), Math.abs(value.beats) < 10 ? 1 : 0) : null;
  write("m-beats", beats === null ? "" : say(value.beside ? "m_beats_beside" : "m_beats_target", { beats }));
}

const sentence = (words) => words.charAt(0).toUpperCase() + words.slice(1);

function stepWords() {
  const key = keyName(value.key);
  const flags = value.flags;
  if (value.step === "end" || value.pipe === null) return say("m_end");
  if (value.reason === "company") return say("m_company", { what: sentence(value.company) });
  if (value.reason === "shaded") return say("m_shaded");
  if (value.reason === "tremulant") return say("m_tremulant");
  if (value.reason === "unsteady") return say("m_unsteady");
  if (value.reason === "gap") return say("m_gap");
  if (value.cents === null) {
    if (flags.includes("other_key") && value.other !== null) return say("m_other_held", { other: keyName(value.other), key });
    if (flags.includes("octave")) return say("m_octave");
    if (flags.includes("noise")) return say("m_noise");
    if (flags.includes("merged") && value.within) return say("m_merged", { within: decimal(value.within) });
    if (flags.includes("faint")) return say("m_faint");
    return say("m_hold", { key });
  }
  if (value.step === "move") return value.move ? value.move.words : say("m_moving");
  if (value.step === "wait") return say("m_wait");
  return say("m_listen");
}

function settleWords() {
  const settling = value.settling;
  if (!settling || value.cents === null || settling.seconds <= 0) return "";
  const parts = [];
  if (settling.sigma > 0.25) parts.push(say("m_believe", { s: Math.max(5, 5 * Math.round(Math.min(settling.seconds, settling.known) / 5)) }));
  if (settling.sigma > 0.25 && Math.min(settling.seconds, settling.known) >= 30) parts.push(say("m_go_on"));
  if (settling.sigma < 0.5 && Math.abs(settling.above) >= 0.05) parts.push(say(settling.above > 0 ? "m_set_sharp" : "m_set_flat", { cents: decimal(Math.abs(settling.above)) }));
  if (settling.sigma < 2) parts.push(say("m_settled", { cents: signed(settling.settled), sigma: decimal(settling.sigma) }));
  return parts.join(" · ");
}

function showLevel() {
  const { db, clipped, lost } = value.level;
  const parts = [db < -50 ? say("m_quiet") : clipped && db > -1 ? say("m_clips") : say("m_level", { db: db.toFixed(0).replace("-", "−") })];
  if (lost) parts.push(say("m_lost", { n: lost }));
  write("m-level-words", parts.join(" · "));
  write("m-other", value.other !== null && value.cents !== null ? say("m_other_too", { other: keyName(value.other) }) : "");
}

// ---------------------------------------------------------------- the last twenty seconds
function draw() {
  if (!course.length) return;
  const now = course.at(-1).s;
  const heard = course.filter((p) => p.cents !== null);
  place("m-course").hidden = !heard.length; // nothing floats where nothing was read
  if (!heard.length) return;
  const largest = Math.max(1.5 * value.tolerance, ...heard.map((p) => Math.abs(p.cents)));
  while (scale < SCALES.length - 1 && largest > SCALES[scale]) scale++;
  while (scale > 0 && largest < 0.75 * SCALES[scale - 1]) scale--;
  const x = (p) => (WIDTH * (1 + (p.s - now) / COURSE_S)).toFixed(1);
  const y = (cents) => (MIDDLE - HALF * Math.max(-1.05, Math.min(1.05, cents / SCALES[scale]))).toFixed(1);
  let line = "", spread = "";
  for (const run of runs()) {
    line += run.map((p, n) => `${n ? "L" : "M"}${x(p)} ${y(p.cents)}`).join("");
    const upper = run.map((p) => `${x(p)} ${y(p.cents + 2 * p.sigma)}`);
    const lower = run.map((p) => `${x(p)} ${y(p.cents - 2 * p.sigma)}`).reverse();
    if (run.length > 1) spread += `M${[...upper, ...lower].join("L")}Z`;
  }
  place("m-line").setAttribute("d", line);
  place("m-spread").setAttribute("d", spread);
  const top = y(value.tolerance), foot = y(-value.tolerance);
  place("m-tolerance").setAttribute("y", top);
  place("m-tolerance").setAttribute("height", (foot - top).toFixed(1));
  write("m-top", `+${SCALES[scale]} ¢`);
  write("m-foot", `−${SCALES[scale]} ¢`);
}

function runs() {
  const found = [[]];
  for (const p of course)
    if (p.cents === null) { if (found.at(-1).length) found.push([]); } else found.at(-1).push(p);
  return found.filter((run) => run.length);
}

// ---------------------------------------------------------------- for those who hear the page
function speak(isOld) {
  const now = performance.now();
  if (isOld || now - spokenAt < 4000) return;
  spokenAt = now;
  const number = value.cents === null ? "" : `${decimal(Math.abs(value.cents))} ${say(`m_${side}`)}. `;
  write("m-said", number + stepWords());
}

const SOUND = "walkboard.sound";
place("m-sound").checked = localStorage.getItem(SOUND) === "on";
place("m-sound").onchange = ({ target }) => localStorage.setItem(SOUND, target.checked ? "on" : "off");

// Two soft knocks, not a tone: the microphone listens for tones.
function sound() {
  const audio = new AudioContext();
  for (const at of [0, 0.16]) {
    const noise = audio.createBufferSource();
    noise.buffer = audio.createBuffer(1, audio.sampleRate * 0.05, audio.sampleRate);
    const samples = noise.buffer.getChannelData(0);
    for (let n = 0; n < samples.length; n++) samples[n] = 0.5 * (Math.random() - 0.5) * Math.exp(-n / 300);
    noise.connect(audio.destination);
    noise.start(audio.currentTime + at);
  }
  setTimeout(() => audio.close(), 600);
}

setInterval(show, 100);
