// Keeps this page on the device, with all that it loads, where the browser allows it: on encrypted
// pages and at the desk itself. What is kept, and when it is shown, stands in worker.js.
const CACHE = "walkboard-pages"; // also in worker.js

async function keep() {
  const workers = navigator.serviceWorker;
  const isFirst = !workers.controller;
  await workers.register("/static/worker.js", { scope: "/" });
  if (!isFirst) return;
  // The page came before there was anybody to keep it: it is fetched once more, file by file.
  const isTaken = new Promise((resolve) => { workers.addEventListener("controllerchange", resolve, { once: true }); });
  if (!workers.controller) await isTaken;
  const loaded = performance.getEntriesByType("resource").map((entry) => new URL(entry.name));
  const files = loaded.filter((url) => url.origin === location.origin && url.pathname.startsWith("/static/"));
  await Promise.all([...new Set([...files.map((url) => url.pathname), location.pathname])].map((path) => fetch(path)));
}

// Gives whether it is kept, and says so on the root (data-keeps). It is not on a plain page of the
// network, and not where the browser does not trust the desk's certificate.
export async function keepThisPage() {
  let isKept = true;
  try {
    await keep();
  } catch {
    isKept = false;
  }
  document.documentElement.dataset.keeps = isKept ? "yes" : "no";
  return isKept;
}

// Gives up what a device has kept that is no longer let in.
export async function forget() {
  try {
    await caches.delete(CACHE);
  } catch {
    // nothing was kept
  }
}
