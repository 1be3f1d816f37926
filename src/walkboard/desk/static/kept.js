// Lists the pages that this device has kept, each by its own title.
import { live } from "./frame.js";

const list = document.getElementById("kept-pages");
const cache = await globalThis.caches?.open("walkboard-pages");
for (const request of (await cache?.keys()) ?? []) {
  const { pathname } = new URL(request.url);
  if (pathname.startsWith("/static/") || pathname === "/kept") continue;
  const answer = await cache.match(request);
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const link = document.createElement("a");
  link.href = pathname;
  link.textContent = page.title.split(" · ")[0] || pathname;
  const item = document.createElement("li");
  item.append(link);
  list.append(item);
}
document.getElementById("kept-none").hidden = list.childElementCount > 0;
document.getElementById("try-again").href = location.href;

// What was wanted comes by itself once the desk answers.
if (location.pathname !== "/kept") live.onState((state) => { if (state === "fresh") location.reload(); });
