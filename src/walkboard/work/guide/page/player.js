"use strict";
// The player of every page of the guide: the nearest clip of a stop, resampled and looped.
const FADE_IN_S = 0.015, FADE_OUT_S = 0.12;
const data = JSON.parse(document.getElementById("data").textContent);
const stops = new Map(data.stops.map((s) => [s.id, s]));
const buffers = new Map();  // of each clip, once decoded
let context = null, master = null;

// A sentence of the page's language with its gaps filled; numbers with the language's own sign.
function words(name, gaps = {}) {
  return data.words[name].replace(/\{(\w+)\}/g, (_, gap) => gaps[gap]);
}

function figure(value, digits) {
  return value.toFixed(digits).replace(".", data.decimal).replace("-", "−");
}

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
async function source(at, stop, key, cents = 0) {
  const hz = stop.hz[key];
  if (hz === undefined || stop.clips.length === 0) return null;
  const clip = nearest(stop, key);
  const node = at.createBufferSource();
  node.buffer = await decoded(clip, at);
  node.loop = true;
  node.loopStart = clip.from;
  node.loopEnd = clip.to;
  node.playbackRate.value = hz / clip.hz;
  node.detune.value = cents;
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
  // 70 is as recorded, 100 is 9 dB more, 0 is silent.
  const value = Number(document.getElementById("volume").value);
  if (master !== null) master.gain.value = value === 0 ? 0 : 10 ** ((value - 70) * 0.3 / 20);
}

// Sounds one key of one stop until it is let go; null if the stop does not have the key.
async function sound(stop, key, cents = 0) {
  await start();
  const node = await source(context, stop, key, cents);
  if (node === null) return null;
  const gain = context.createGain();
  gain.gain.setValueAtTime(0, context.currentTime);
  gain.gain.linearRampToValueAtTime(1, context.currentTime + FADE_IN_S);
  node.connect(gain).connect(master);
  node.start();
  return { node, gain };
}

function hush({ node, gain }) {
  const now = context.currentTime;
  gain.gain.cancelScheduledValues(now);
  gain.gain.setValueAtTime(gain.gain.value, now);
  gain.gain.linearRampToValueAtTime(0, now + FADE_OUT_S);
  node.stop(now + FADE_OUT_S + 0.05);
}

// Voices, each [stop id, key, cents], as samples without a loudspeaker: for checks.
async function render(voices, seconds, rate = 48000) {
  const offline = new OfflineAudioContext(1, Math.round(seconds * rate), rate);
  for (const [id, key, cents] of voices) {
    const node = await source(offline, stops.get(id), key, cents ?? 0);
    if (node === null) return null;
    node.connect(offline.destination);
    node.start();
  }
  return (await offline.startRendering()).getChannelData(0);
}
