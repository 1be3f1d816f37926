"use strict";
// Plays the stops: the nearest clip of each, resampled to the key's own pitch and looped.
const FADE_IN_S = 0.015, FADE_OUT_S = 0.12;
const NAMES = ["C", "C♯", "D", "D♯", "E", "F", "F♯", "G", "G♯", "A", "A♯", "B"];
const stops = new Map(JSON.parse(document.getElementById("data").textContent).stops.map((s) => [s.id, s]));
const buffers = new Map();  // of each clip, once decoded
const down = new Map();     // key -> the sources that sound for it
let context = null, master = null;

function bytes(text) {
  return Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer;
}

async function decoded(clip, at) {
  if (!buffers.has(clip)) buffers.set(clip, at.decodeAudioData(bytes(clip.opus)));
  return buffers.get(clip);
}

function nearest(stop, key) {
  return stop.clips.reduce((a, b) => (Math.abs(b.key - key) < Math.abs(a.key - key) ? b : a));
}

// A source that sounds one key of one stop; not started yet. Null if the stop does not have the key.
async function source(at, stop, key) {
  const hz = stop.hz[key];
  if (hz === undefined || stop.clips.length === 0) return null;
  const clip = nearest(stop, key);
  const node = at.createBufferSource();
  node.buffer = await decoded(clip, at);
  node.loop = true;
  node.loopStart = clip.from;
  node.loopEnd = clip.to;
  node.playbackRate.value = hz / clip.hz;
  return node;
}

function start() {
  if (context === null) {
    context = new AudioContext();
    master = context.createGain();
    master.connect(context.destination);
    volume();
  }
  return context.resume();
}

function volume() {
  // Twice the slider in decibels: 100 is as recorded plus 9 dB, 0 is silent.
  const value = Number(document.getElementById("volume").value);
  if (master !== null) master.gain.value = value === 0 ? 0 : 10 ** ((value - 70) * 0.3 / 20);
}

function drawn() {
  return [...document.querySelectorAll(".stops input:checked")].map((box) => stops.get(box.value));
}

async function press(key) {
  if (down.has(key)) return;
  const voices = [];
  down.set(key, voices);
  mark(key, true);
  await start();
  const sounding = drawn();
  say(sounding.length === 0 ? "Tick a stop first." : "");
  for (const stop of sounding) {
    const node = await source(context, stop, key);
    if (node === null) continue;
    if (down.get(key) !== voices) return;  // let go while it was decoded
    const gain = context.createGain();
    gain.gain.setValueAtTime(0, context.currentTime);
    gain.gain.linearRampToValueAtTime(1, context.currentTime + FADE_IN_S);
    node.connect(gain).connect(master);
    node.start();
    voices.push({ node, gain });
  }
}

function release(key) {
  const voices = down.get(key);
  if (voices === undefined) return;
  down.delete(key);
  mark(key, false);
  for (const { node, gain } of voices) {
    const now = context.currentTime;
    gain.gain.cancelScheduledValues(now);
    gain.gain.setValueAtTime(gain.gain.value, now);
    gain.gain.linearRampToValueAtTime(0, now + FADE_OUT_S);
    node.stop(now + FADE_OUT_S + 0.05);
  }
}

function mark(key, isDown) {
  document.querySelector(`#keyboard [data-key="${key}"]`)?.setAttribute("aria-pressed", String(isDown));
}

function say(words) {
  document.getElementById("said").textContent = words;
}

function holds() {
  return document.getElementById("hold").checked;
}

function silence() {
  for (const key of [...down.keys()]) release(key);
}

function build() {
  const keyboard = document.getElementById("keyboard");
  const playable = [...stops.values()].filter((stop) => stop.clips.length > 0);
  const keys = playable.flatMap((stop) => Object.keys(stop.hz).map(Number));
  if (keys.length === 0) {
    say("The sounds were left out of this page.");
    return;
  }
  for (let key = Math.min(...keys); key <= Math.max(...keys); key += 1) {
    const button = document.createElement("button");
    const name = NAMES[key % 12] + (Math.floor(key / 12) - 1);
    button.type = "button";
    button.dataset.key = key;
    button.textContent = name;
    button.setAttribute("aria-pressed", "false");
    if (name.includes("♯")) button.className = "sharp";
    button.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      button.focus();
      if (holds() && down.has(key)) release(key);
      else press(key);
    });
    for (const end of ["pointerup", "pointercancel", "pointerleave"]) {
      button.addEventListener(end, () => { if (!holds()) release(key); });
    }
    button.addEventListener("keydown", (event) => {
      if (![" ", "Enter"].includes(event.key)) return;
      event.preventDefault();
      if (event.repeat) return;
      if (holds() && down.has(key)) release(key);
      else press(key);
    });
    button.addEventListener("keyup", (event) => {
      if ([" ", "Enter"].includes(event.key) && !holds()) release(key);
    });
    button.addEventListener("blur", () => { if (!holds()) release(key); });
    keyboard.append(button);
  }
}

build();
document.getElementById("volume").addEventListener("input", volume);
document.getElementById("hold").addEventListener("change", () => { if (!holds()) silence(); });
document.getElementById("silence").addEventListener("click", silence);
document.addEventListener("visibilitychange", () => { if (document.hidden) silence(); });

// One key of one stop as samples, without a loudspeaker: for checks, and to save a sound.
async function render(id, key, seconds, rate = 48000) {
  const offline = new OfflineAudioContext(1, Math.round(seconds * rate), rate);
  const node = await source(offline, stops.get(id), key);
  if (node === null) return null;
  node.connect(offline.destination);
  node.start();
  return (await offline.startRendering()).getChannelData(0);
}
window.guide = { render, down };
