// Building the page: elements from words, numbers with their units. Text never becomes markup.

/** An element: tag, attributes (on*: listeners; true/false: present or not), children. */
export function h(tag, attributes = {}, ...children) {
  const element = tag === "svg" || tag === "path"
    ? document.createElementNS("http://www.w3.org/2000/svg", tag) : document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "class") element.className = value;
    else if (name in element && ["value", "checked", "disabled", "hidden"].includes(name)) {
      element[name] = value;
    } else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat(3).filter((c) => c !== null && c !== undefined && c !== false));
  return element;
}

/** Replace what an element holds. */
export function fill(element, ...children) {
  element.replaceChildren(...children.flat(3).filter((c) => c !== null && c !== undefined && c !== false));
  return element;
}

/** A number with so many decimals; a dash where there is none. */
export function num(value, decimals = 1) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const text = value.toFixed(decimals);
  return Number(text) === 0 ? text.replace("-", "") : text.replace("-", "−");
}

/** A difference, with its sign. */
export function signed(value, decimals = 1) {
  const text = num(value, decimals);
  return text === "–" || text.startsWith("−") || Number(text) === 0 ? text : `+${text}`;
}

/** A share as per cent. */
export const percent = (share, decimals = 1) => num(share === null ? null : 100 * share, decimals);

/** A share with its interval, like "31.2 (29.8–32.6)". */
export const rate = (r, decimals = 1) => r && r.rate !== undefined && r.rate !== null
  ? `${percent(r.rate, decimals)} (${percent(r.low, decimals)}–${percent(r.high, decimals)})` : "–";

/** A table; head cells may be [words, unit]; the first column names the row. */
export function table(caption, head, rows, { note = "", left = [0] } = {}) {
  const cell = (words, n, tag, scope) => h(tag, { class: left.includes(n) ? null : "n", scope }, words);
  return h("figure", { class: "wide", tabindex: "0", "aria-label": caption },
    h("table", {},
      h("caption", {}, caption),
      h("thead", {}, h("tr", {}, head.map((words, n) => cell(Array.isArray(words)
        ? [words[0], h("br"), h("small", {}, `[${words[1]}]`)] : words, n, "th", "col")))),
      h("tbody", {}, rows.map((row) => h("tr", {}, row.map((words, n) => n === 0
        ? cell(words, n, "th", "row") : cell(words, n, "td")))))),
    note ? h("figcaption", {}, note) : null);
}

/** Names and values, one pair a line. */
export function facts(pairs) {
  return h("dl", { class: "facts" }, pairs.filter(Boolean).map(([name, value]) =>
    h("div", {}, h("dt", {}, name), h("dd", {}, value))));
}

/** Call `work` when nothing has called again for `ms`. */
export function later(work, ms) {
  let timer = 0;
  return (...args) => { clearTimeout(timer); timer = setTimeout(() => work(...args), ms); };
}
