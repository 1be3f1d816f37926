// Signs in by passkey and goes on to where the visitor was going.
import { does, signIn } from "./passkeys.js";

does("by-passkey", async () => {
  await signIn();
  location.assign(document.getElementById("by-passkey").dataset.to);
});
