// Says that a calendar is being taken in, which may last a moment.
const form = document.getElementById("take");
form.addEventListener("submit", () => {
  document.getElementById("taking").hidden = false;
  document.getElementById("take-it").disabled = true;
});
