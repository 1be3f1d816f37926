// Five experiments with a few clips. Numbers come from the sounds' own measured pitch.
const KEY = 60, THIRD = 64;
const recorded = data.celsius;
const all = [...stops.values()];
const KINDS = { open: words("open"), stopped: words("stopped"), reed: words("reed") };
const at = (id) => document.getElementById(id);
const value = (id) => Number(at(id).value);
const slid = (id) => at(id).value.replace(".", data.decimal).replace("-", "−");
const unison = all.filter((stop) => stop.multiple === 1);
const oneOf = (kind) => unison.find((stop) => stop.kind === kind);
const lips = unison.filter((stop) => stop.kind !== "reed");
const steady = oneOf("open") ?? lips[0];
let playing = null;   // { name, voices } of the experiment that sounds
let hidden = null;    // the stop to be guessed

// Flues follow the speed of sound, which goes with the square root of absolute temperature.
function warmed(celsius) {
  return 600 * Math.log2((273.15 + celsius) / (273.15 + recorded));
}

function centsBetween(high, low) {
  return 1200 * Math.log2(high / low);
}

// What each experiment sounds: voices as [stop, key, cents], and what it says of them.
const experiments = {
  beats() {
    const other = lips.find((stop) => stop !== steady) ?? steady;
    // The slider counts from where the two agree, wherever the second pipe stands by itself.
    const apart = value("beats-cents") + centsBetween(steady.hz[KEY], other.hz[KEY]);
    const beats = Math.abs(steady.hz[KEY] * (2 ** (value("beats-cents") / 1200) - 1));
    return { voices: [[steady, KEY, 0], [other, KEY, apart]],
      said: words("beats", { cents: slid("beats-cents"), beats: figure(beats, 1) }) };
  },
  warmth() {
    const reed = oneOf("reed");
    const cents = warmed(value("warmth-celsius"));
    // Both are in tune in the air that they were recorded in, for this lesson.
    const meet = centsBetween(steady.hz[KEY], reed.hz[KEY]);
    const beats = Math.abs(steady.hz[KEY] * (2 ** (cents / 1200) - 1));
    const way = cents >= 0 ? "warm_above" : "warm_below";
    return { voices: [[steady, KEY, cents], [reed, KEY, meet]],
      said: words(way, { celsius: slid("warmth-celsius"), cents: figure(Math.abs(cents), 0), beats: figure(beats, 1) }) };
  },
  third() {
    const wide = centsBetween(steady.hz[THIRD], steady.hz[KEY]);
    const cents = value("third-cents");
    const beats = Math.abs(5 * steady.hz[KEY] - 4 * steady.hz[KEY] * 2 ** (cents / 1200));
    return { voices: [[steady, KEY, 0], [steady, THIRD, cents - wide]],
      said: words("third", { cents: slid("third-cents"), beats: figure(beats, 1) }) };
  },
};

function silence() {
  if (playing !== null) playing.voices.forEach(hush);
  playing = null;
  for (const button of document.querySelectorAll("[aria-pressed]")) button.setAttribute("aria-pressed", "false");
}

async function play(name) {
  const again = playing?.name === name;
  silence();
  if (again) return;
  const mine = { name, voices: [] };
  playing = mine;
  document.querySelector(`[data-play="${name}"]`).setAttribute("aria-pressed", "true");
  const { voices, said } = experiments[name]();
  at(`${name}-said`).textContent = said;
  for (const [stop, key, cents] of voices) {
    const voice = await sound(stop, key, cents);
    if (playing !== mine) return hush(voice);
    mine.voices.push(voice);
  }
}

function moved(name) {
  const { voices, said } = experiments[name]();
  at(`${name}-said`).textContent = said;
  if (playing?.name !== name) return;
  playing.voices.forEach((voice, n) => voice.node.detune.setTargetAtTime(voices[n][2], context.currentTime, 0.02));
}

async function ask() {
  silence();
  const choices = Object.keys(KINDS).map(oneOf).filter(Boolean);
  hidden = choices[Math.floor(Math.random() * choices.length)];
  at("verdict").textContent = words("what");
  const mine = { name: "which", voices: [] };
  playing = mine;
  const voice = await sound(hidden, KEY);
  if (playing !== mine) return hush(voice);
  mine.voices.push(voice);
}

function answer(kind) {
  if (hidden === null) at("verdict").textContent = words("play_first");
  else if (kind === hidden.kind) at("verdict").textContent = words("right", { kind: KINDS[kind], name: hidden.name });
  else at("verdict").textContent = words("wrong");
}

function button(label, action) {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = label;
  made.addEventListener("click", () => action(made));
  return made;
}

function ladder() {
  const steps = [0.5, 1, 2, 4].map((m) => all.find((s) => s.multiple === m && s.kind === "open") ?? all.find((s) => s.multiple === m && s.kind !== "reed"));
  const there = steps.filter(Boolean);
  for (const stop of there) {
    const made = button(stop.name, async () => {
      if (playing?.name !== "feet") { silence(); playing = { name: "feet", voices: [], by: new Map() }; }
      const mine = playing;
      if (mine.by.has(stop.id)) {
        hush(mine.by.get(stop.id));
        mine.voices = mine.voices.filter((voice) => voice !== mine.by.get(stop.id));
        mine.by.delete(stop.id);
        made.setAttribute("aria-pressed", "false");
        return;
      }
      made.setAttribute("aria-pressed", "true");
      at("feet-said").textContent = words("feet", { name: stop.name, hz: figure(stop.hz[KEY], 1), times: String(stop.multiple).replace(".", data.decimal) });
      const voice = await sound(stop, KEY);
      if (playing !== mine) return hush(voice);
      mine.voices.push(voice);
      mine.by.set(stop.id, voice);
    });
    made.setAttribute("aria-pressed", "false");
    at("ladder").append(made, " ");
  }
  return there.length > 1;
}

const possible = {
  which: Object.keys(KINDS).filter(oneOf).length > 1,
  feet: ladder(),
  beats: lips.length > 0,
  warmth: lips.length > 0 && oneOf("reed") !== undefined,
  third: steady?.hz[THIRD] !== undefined,
};
for (const [name, is] of Object.entries(possible)) {
  if (is) continue;
  const left = document.createElement("p");
  left.textContent = words("missing");
  at(name).querySelectorAll("button, label").forEach((part) => part.remove());
  at(name).append(left);
}
for (const [kind, label] of Object.entries(KINDS)) {
  if (possible.which && oneOf(kind)) at("answers").append(button(label, () => answer(kind)), " ");
}
at("ask")?.addEventListener("click", ask);
for (const made of document.querySelectorAll("[data-play]")) {
  made.setAttribute("aria-pressed", "false");
  made.addEventListener("click", () => play(made.dataset.play));
}
for (const [name, slider] of [["beats", "beats-cents"], ["warmth", "warmth-celsius"], ["third", "third-cents"]]) {
  if (!possible[name]) continue;
  at(slider).addEventListener("input", () => moved(name));
  moved(name);
}
at("volume").addEventListener("input", volume);
at("silence").addEventListener("click", silence);
document.addEventListener("visibilitychange", () => { if (document.hidden) silence(); });
window.lessons = {
  render, possible,
  voices: (name) => experiments[name]().voices.map(([stop, key, cents]) => [stop.id, key, cents]),
  isPlaying: () => playing?.voices.length ?? 0,
};
