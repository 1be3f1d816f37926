// Asks the browser for a passkey: to sign in, or to add one. The desk says what to ask for.
import { say } from "./words.js";

const trouble = document.getElementById("trouble");

function complain(words) {
  trouble.hidden = false;
  trouble.textContent = words;
}

async function post(address, body) {
  const answer = await fetch(address, {
    method: "POST",
    headers: { "Content-Type": "application/json", Accept: "application/json" },
    body: JSON.stringify(body),
  });
  const found = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(found.trouble || say("passkey_not_now"));
  return found;
}

const toBytes = (text) =>
  Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));
const toText = (buffer) =>
  btoa(String.fromCharCode(...new Uint8Array(buffer)))
    .replace(/\+/g, "-")
    .replace(/\//g, "_")
    .replace(/=+$/, "");

async function made(options) {
  const found = await navigator.credentials.create({
    publicKey: {
      ...options,
      challenge: toBytes(options.challenge),
      user: { ...options.user, id: toBytes(options.user.id) },
      excludeCredentials: (options.excludeCredentials || []).map((one) => ({
        ...one,
        id: toBytes(one.id),
      })),
    },
  });
  const { clientDataJSON, attestationObject } = found.response;
  return answer(found, {
    clientDataJSON: toText(clientDataJSON),
    attestationObject: toText(attestationObject),
  });
}

async function used(options) {
  const found = await navigator.credentials.get({
    publicKey: { ...options, challenge: toBytes(options.challenge), allowCredentials: [] },
  });
  const { clientDataJSON, authenticatorData, signature, userHandle } = found.response;
  return answer(found, {
    clientDataJSON: toText(clientDataJSON),
    authenticatorData: toText(authenticatorData),
    signature: toText(signature),
    userHandle: userHandle ? toText(userHandle) : null,
  });
}

function answer(found, response) {
  return {
    id: found.id,
    rawId: toText(found.rawId),
    type: found.type,
    response,
    clientExtensionResults: {},
  };
}

// Runs what a button does; says why where it does not work.
export function does(id, work) {
  const button = document.getElementById(id);
  button?.addEventListener("click", async () => {
    trouble.hidden = true;
    button.disabled = true;
    try {
      if (!window.PublicKeyCredential) throw new Error(say("passkey_none"));
      await work();
    } catch (error) {
      const isLeft = error.name === "NotAllowedError" || error.name === "AbortError";
      const isKnown = error.name === "InvalidStateError";
      complain(isLeft ? say("passkey_left") : isKnown ? say("passkey_known") : error.message);
    } finally {
      button.disabled = false;
    }
  });
}

export async function signIn() {
  const options = await post("/sign-in/options", {});
  return post("/sign-in/passkey", await used(options));
}

export async function accept(token) {
  const { options } = await post("/welcome/options", { token });
  return post("/welcome/passkey", { token, answer: await made(options) });
}

export async function byProvider(token) {
  return post("/welcome/openid", { token });
}

export async function addAnother() {
  const { options } = await post("/account/options", {});
  return post("/account/passkey", { answer: await made(options) });
}
