// Finds any pipe of the organ: its stop, as far as it is typed, and its key as this browser names it,
// or its number; a rank's own page finds by the key alone. Enter goes to the first that is found.
const input = document.getElementById("find");
const said = document.getElementById("found");
const list = document.getElementById("found-pipes");
const { ranks, keys } = JSON.parse(document.getElementById("find-among").textContent);
const MOST = 8;

const plain = (text) => text.trim().replaceAll("♯", "#").replaceAll("♭", "b").replaceAll("′", "'").replaceAll("·", " ");
const words = (text) => plain(text).split(/\s+/).filter(Boolean);
const isSame = (a, b) => a === b || a.toLowerCase() === b.toLowerCase();

// Numbers of a rank's pipes that a word means, those whose key is written just so first.
function pipesOf(rank, word) {
  const named = rank.keys.map((semitone, n) => ({ n: n + 1, name: plain(keys[semitone]) }));
  const exact = named.filter((one) => one.name === word);
  const alike = named.filter((one) => one.name !== word && isSame(one.name, word));
  const byNumber = rank.isHere ? named.filter((one) => String(one.n) === word) : [];
  return [...exact, ...alike, ...byNumber].map((one) => one.n);
}

const meansRank = (rank, typed) => typed.every((word) => words(rank.words).some((own) => own.toLowerCase().startsWith(word.toLowerCase())));

function found(typed) {
  const hits = [];
  for (const rank of ranks) {
    for (const place of new Set([typed.length - 1, 0])) {
      const rest = typed.filter((_, n) => n !== place);
      if (!(rest.length ? meansRank(rank, rest) : rank.isHere)) continue;
      for (const n of pipesOf(rank, typed[place]))
        hits.push({ address: `${rank.address}?pipe=${n}#pipe`, words: `${rank.words} ${keys[rank.keys[n - 1]]}` });
    }
    if (!rank.isHere && meansRank(rank, typed)) hits.push({ address: rank.address, words: rank.words });
  }
  return hits.filter((hit, n) => hits.findIndex((other) => other.address === hit.address) === n).slice(0, MOST);
}

function show() {
  const typed = words(input.value);
  const hits = typed.length ? found(typed) : [];
  list.replaceChildren(...hits.map((hit) => {
    const link = document.createElement("a");
    link.href = hit.address;
    link.textContent = hit.words;
    const item = document.createElement("li");
    item.append(link);
    return item;
  }));
  said.hidden = !typed.length || Boolean(hits.length);
  said.textContent = said.hidden ? "" : input.dataset.none;
  return hits;
}

input.addEventListener("input", show);
input.form.addEventListener("submit", (event) => {
  event.preventDefault();
  const [first] = show();
  if (first) location.assign(first.address);
});
