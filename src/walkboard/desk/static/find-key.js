// Find a pipe of the rank by typing its key as this browser names it, or the pipe's number.
const input = document.getElementById("find");
const found = document.getElementById("found");

const plain = (text) => text.trim().toLowerCase().replaceAll("♯", "#").replaceAll("♭", "b").replaceAll("′", "'");

function find() {
  const wanted = plain(input.value);
  let first = null;
  for (const link of document.querySelectorAll("table.pipes th a")) {
    const row = link.closest("tr");
    const isIt = !wanted || plain(link.textContent).startsWith(wanted) || link.id === `key-${wanted}`;
    row.hidden = !isIt;
    if (isIt) first ??= link;
  }
  found.textContent = wanted && !first ? input.dataset.none : "";
  return first;
}

if (input) {
  input.addEventListener("input", find);
  input.form.addEventListener("submit", (event) => {
    event.preventDefault();
    const first = find();
    if (first && input.value.trim()) location.assign(first.href);
  });
  addEventListener("walkboard:refreshed", find);
}
