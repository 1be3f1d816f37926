// Keeps the pages that a visit needs inside the organ, so that a browser that was closed opens them
// again without a link. Browsers run it on encrypted pages and at the desk itself.
//
// The desk is asked first, always; what is kept is shown only where the desk does not answer. Such
// a page may be old: it says so, and what is ticked on it waits in the outbox as ever.
const CACHE = "walkboard-pages"; // also in keep.js
const NO_LINK = "/kept";
const AT_ONCE = [NO_LINK, "/static/kept.js"]; // the rest comes with the first page that is kept
const KEPT = /^\/organ\/\d+\/(pipe|holding(\/.*)?|visit\/work)$/;
const PATIENCE_MS = 3000; // for the desk: a link that swallows everything would take minutes
const LAME_MS = 15_000; // after that: so long, what is kept comes at once
let lameUntil = 0;

addEventListener("install", (event) => {
  skipWaiting();
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(AT_ONCE)).catch(() => {}));
});
addEventListener("activate", (event) => event.waitUntil(clients.claim()));

addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== location.origin) return;
  if (pathname.startsWith("/static/")) event.respondWith(staticFile(request, pathname));
  else if (request.mode === "navigate") event.respondWith(opened(request, pathname));
  else if (KEPT.test(pathname)) event.respondWith(refreshed(request, pathname));
});

async function staticFile(request, pathname) {
  const { answer, isKept } = await ask(request, await kept(pathname));
  if (!isKept) await keep(pathname, answer);
  return answer;
}

async function opened(request, pathname) {
  const isPage = KEPT.test(pathname);
  try {
    const { answer, isKept } = await ask(request, isPage ? await kept(pathname) : undefined);
    if (isKept) return marked(answer);
    if (isPage) await keep(pathname, answer);
    return answer;
  } catch (error) {
    const found = await kept(NO_LINK);
    if (found) return marked(found);
    throw error;
  }
}

// Parts of a page that is shown: never from what is kept, for the page takes them for news.
async function refreshed(request, pathname) {
  const answer = await fetch(request);
  await keep(pathname, answer);
  return answer;
}

// The desk's answer; where the desk does not answer, what is kept of it.
async function ask(request, found) {
  const waiting = fetch(request);
  if (!found) return { answer: await waiting, isKept: false };
  waiting.catch(() => {}); // it may still fail when nobody waits for it any more
  const patience = Date.now() < lameUntil ? 0 : PATIENCE_MS;
  const tooLong = new Promise((resolve) => { setTimeout(resolve, patience, null); });
  try {
    const answer = await Promise.race([waiting, tooLong]);
    if (answer) { lameUntil = 0; return { answer, isKept: false }; }
    lameUntil = Date.now() + LAME_MS;
  } catch {
    // no link
  }
  return { answer: found, isKept: true };
}

function kept(pathname) { return caches.match(pathname, { cacheName: CACHE }); }

async function keep(pathname, answer) {
  // A device that is let in no more keeps nothing of the book.
  if (answer.status === 401) { await caches.delete(CACHE); return; }
  if (!answer.ok || answer.redirected || answer.type !== "basic") return;
  const copy = answer.clone();
  try {
    await (await caches.open(CACHE)).put(pathname, copy);
  } catch {
    // no room on this device: the page is shown all the same
  }
}

// The page learns that it is what was kept (data-kept of its root: since when).
async function marked(answer) {
  const since = Date.parse(answer.headers.get("date") ?? "") || 0;
  const text = (await answer.text()).replace("<html ", `<html data-kept="${since}" `);
  return new Response(text, { status: answer.status, headers: answer.headers });
}
