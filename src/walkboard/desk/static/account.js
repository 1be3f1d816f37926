// Adds another passkey to one's own.
import { addAnother, does } from "./passkeys.js";

does("add-passkey", async () => {
  const { to } = await addAnother();
  location.assign(to);
});
