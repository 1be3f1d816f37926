// Takes the code out of the address, where it was never sent to anyone, and uses it at once.
const letters = decodeURIComponent(location.hash.slice(1));
if (letters) {
  history.replaceState(null, "", location.pathname);
  document.getElementById("pair-code").value = letters;
  document.getElementById("pair").requestSubmit();
}
