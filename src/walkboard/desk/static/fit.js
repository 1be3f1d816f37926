// Makes one line of words as large as its place allows, never larger than its own size.
const SMALLEST = 0.34; // of its own size; from there on it wraps

export function fit(element) {
  element.style.fontSize = "";
  const own = parseFloat(getComputedStyle(element).fontSize);
  const room = element.clientWidth;
  element.style.whiteSpace = "nowrap";
  const share = room / Math.max(1, element.scrollWidth);
  element.style.whiteSpace = "";
  if (share < 1) element.style.fontSize = `${own * Math.max(SMALLEST, 0.98 * share)}px`;
}
