// Fields: a slider with a number beside it, a choice, a plain number; each says what is wrong with it.

import { h } from "./dom.js";

let count = 0;

/** A slider and a number field for the same thing; changed(value, at) is told. */
export function slider(label, unit, [low, high, step], changed) {
  const id = `slide-${count++}`;
  const range = h("input", { type: "range", min: low, max: high, step, id: `${id}-range`,
    "aria-label": `${label}${unit ? `, ${unit}` : ""}` });
  const number = h("input", { type: "number", step: "any", id, inputmode: "decimal",
    "aria-describedby": `${id}-wrong` });
  const wrong = h("p", { class: "wrong", id: `${id}-wrong` });
  const element = h("div", { class: "field slide" },
    h("label", { for: id }, label, unit ? h("small", {}, ` [${unit}]`) : null), range, number, wrong);
  range.addEventListener("input", (event) => {
    number.value = range.value;
    complain("");
    changed(Number(range.value), event.timeStamp);
  });
  number.addEventListener("input", (event) => {
    const value = number.valueAsNumber;
    if (!Number.isFinite(value)) { complain(`${label}: a number, please`); return; }
    range.value = String(value);
    complain("");
    changed(value, event.timeStamp);
  });
  function complain(words) {
    wrong.textContent = words;
    number.setAttribute("aria-invalid", String(Boolean(words)));
  }
  function set(value) {
    const text = String(Math.round(value * 1000) / 1000);
    range.value = text;
    if (document.activeElement !== number || Number(number.value) !== Number(text)) number.value = text;
  }
  return { element, set, complain, range, number };
}

/** A choice of few. */
export function choice(label, options, changed) {
  const id = `choice-${count++}`;
  const select = h("select", { id, "aria-describedby": `${id}-wrong`,
    onchange: () => changed(select.value) },
    options.map(([value, words]) => h("option", { value }, words)));
  const wrong = h("p", { class: "wrong", id: `${id}-wrong` });
  return { element: h("div", { class: "field" }, h("label", { for: id }, label), select, wrong),
    set: (value) => { select.value = value; }, select,
    fill: (more) => select.replaceChildren(...more.map(([value, words]) => h("option", { value }, words))),
    complain: (words) => { wrong.textContent = words; } };
}

/** A line of text or a number. */
export function entry(label, changed, { type = "text", hint = "", ...attributes } = {}) {
  const id = `entry-${count++}`;
  const input = h("input", { id, type, "aria-describedby": `${id}-wrong`, ...attributes,
    onchange: () => changed(input.value) });
  const wrong = h("p", { class: "wrong", id: `${id}-wrong` });
  return { element: h("div", { class: "field" }, h("label", { for: id }, label,
    hint ? h("small", {}, ` ${hint}`) : null), input, wrong),
    set: (value) => { input.value = value; }, input,
    complain: (words) => {
      wrong.textContent = words;
      input.setAttribute("aria-invalid", String(Boolean(words)));
    } };
}
