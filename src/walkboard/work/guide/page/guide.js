// The page that plays every stop: ticked stops sound while a key is down.
const NAMES = ["C", "C♯", "D", "D♯", "E", "F", "F♯", "G", "G♯", "A", "A♯", "B"];
const down = new Map();  // key -> the voices that sound for it

function drawn() {
  return [...document.querySelectorAll(".stops input:checked")].map((box) => stops.get(box.value));
}

async function press(key) {
  if (down.has(key)) return;
  const voices = [];
  down.set(key, voices);
  mark(key, true);
  const sounding = drawn();
  say(sounding.length === 0 ? words("tick_first") : "");
  for (const stop of sounding) {
    const voice = await sound(stop, key);
    if (voice === null) continue;
    if (down.get(key) !== voices) {  // let go while it was decoded
      hush(voice);
      return;
    }
    voices.push(voice);
  }
}

function release(key) {
  const voices = down.get(key);
  if (voices === undefined) return;
  down.delete(key);
  mark(key, false);
  voices.forEach(hush);
}

function mark(key, isDown) {
  document.querySelector(`#keyboard [data-key="${key}"]`)?.setAttribute("aria-pressed", String(isDown));
}

function say(sentence) {
  document.getElementById("said").textContent = sentence;
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
    say(words("left_out"));
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

window.guide = { render, down };
