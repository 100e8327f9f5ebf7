// A list with search: type a part of a name, choose with arrow keys and Enter, or with the mouse.

import { h } from "./dom.js";

let count = 0;

/** options(): [{value, label, hint}]; chosen(value) is told. Returns {element, set, complain}. */
export function picker(label, options, chosen, { free = false } = {}) {
  const id = `picker-${count++}`;
  let shown = [];
  let marked = -1;
  let value = "";
  const input = h("input", { id, type: "text", role: "combobox", autocomplete: "off", spellcheck: "false",
    "aria-expanded": "false", "aria-controls": `${id}-list`, "aria-autocomplete": "list",
    "aria-describedby": `${id}-wrong` });
  const list = h("ul", { id: `${id}-list`, role: "listbox", "aria-label": label, hidden: true });
  const wrong = h("p", { class: "wrong", id: `${id}-wrong` });
  const element = h("div", { class: "field picker" }, h("label", { for: id }, label), input, list, wrong);

  function open(words) {
    const part = words.trim().toLowerCase();
    const rank = ({ label, hint, value: own }) => {
      if (label.toLowerCase().startsWith(part) || own.toLowerCase() === part) return 0;
      if (label.toLowerCase().includes(part)) return 1;
      return `${hint || ""} ${own}`.toLowerCase().includes(part) ? 2 : 3;
    };
    shown = options().map((o) => [rank(o), o]).filter(([r]) => r < 3)
      .sort(([a], [b]) => a - b).map(([, o]) => o);
    marked = part ? 0 : Math.max(0, shown.findIndex((o) => o.value === value));
    list.replaceChildren(...shown.map((option, n) => h("li", { role: "option", id: `${id}-${n}`,
      "aria-selected": String(n === marked),
      onpointerdown: (event) => { event.preventDefault(); take(option); } },
      h("span", {}, option.label), option.hint ? h("small", {}, option.hint) : null)));
    if (!shown.length) list.append(h("li", { class: "faint" }, "nothing of that name"));
    list.hidden = false;
    input.setAttribute("aria-expanded", "true");
    mark(marked);
  }

  function mark(n) {
    marked = n;
    [...list.children].forEach((item, k) => item.setAttribute("aria-selected", String(k === n)));
    if (shown[n]) {
      input.setAttribute("aria-activedescendant", `${id}-${n}`);
      list.children[n].scrollIntoView({ block: "nearest" });
    } else input.removeAttribute("aria-activedescendant");
  }

  function close() {
    list.hidden = true;
    input.setAttribute("aria-expanded", "false");
    input.removeAttribute("aria-activedescendant");
  }

  function take(option) {
    close();
    const changed = option.value !== value;
    set(option.value);
    if (changed) chosen(option.value);
  }

  function set(next) {
    value = next;
    const option = options().find((o) => o.value === next);
    input.value = option ? option.label : next;
  }

  input.addEventListener("focus", () => input.select());
  input.addEventListener("click", () => open(""));
  input.addEventListener("input", () => open(input.value));
  input.addEventListener("blur", () => {
    close();
    if (free && input.value !== value && !options().some((o) => o.label === input.value)) {
      take({ value: input.value.trim() });
    } else set(value);
  });
  input.addEventListener("keydown", (event) => {
    const isOpen = !list.hidden;
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      if (!isOpen) open("");
      else mark((marked + (event.key === "ArrowDown" ? 1 : -1) + shown.length) % Math.max(1, shown.length));
    } else if (event.key === "Enter" && isOpen && shown[marked]) take(shown[marked]);
    else if (event.key === "Enter" && free) take({ value: input.value.trim() });
    else if (event.key === "Escape" && isOpen) { close(); set(value); } else return;
    event.preventDefault();
  });
  return { element, set, input,
    complain: (words) => {
      wrong.textContent = words;
      input.setAttribute("aria-invalid", String(Boolean(words)));
    } };
}
