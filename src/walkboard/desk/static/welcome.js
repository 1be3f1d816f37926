// Takes the invitation out of the address, where it was sent to no one, and uses it once.
import { accept, byProvider, does } from "./passkeys.js";

const token = decodeURIComponent(location.hash.slice(1));
history.replaceState(null, "", location.pathname);
document.getElementById("no-invitation").hidden = token !== "";
document.getElementById("invited").hidden = token === "";

does("add-passkey", async () => {
  const { code } = await accept(token);
  document.getElementById("code").textContent = code;
  document.getElementById("invited").hidden = true;
  const done = document.getElementById("done");
  done.hidden = false;
  done.focus();
});
does("by-provider", async () => {
  const { to } = await byProvider(token);
  location.assign(to);
});
