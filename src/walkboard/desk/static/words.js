// The texts of the page's scripts: the server puts them into the page from its catalogue.
const texts = JSON.parse(document.getElementById("words").textContent);

// A number as the language of the page writes it.
export function decimal(value, digits = 1) { return value.toFixed(digits).replace(".", texts.decimal); }

export function say(key, values = {}) {
  let text = texts[key];
  if (text === undefined) throw new Error(`no words for ${key}`);
  if (typeof text !== "string") text = values.n === 1 ? text.one : text.other;
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}
