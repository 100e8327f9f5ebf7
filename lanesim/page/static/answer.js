// An answer as it came: facts, sentences, tables, pictures, files to keep.

import { facts, h, table } from "./dom.js";
import { post } from "./api.js";
import { setShot } from "./state.js";

/** Elements that show an answer; `key` names the kept result. */
export function shownAnswer(answer, key) {
  const said = h("span", { role: "status", class: "faint" });
  const stand = answer.line && h("button", { type: "button", class: "plain noprint",
    onclick: () => setShot(answer.line) }, "Stand there");
  const files = answer.files.map(([name, text]) => h("button", { type: "button", class: "plain",
    onclick: async () => {
      try {
        await post("/api/file/write", { name, text, over: false });
        said.textContent = `${name} is in your folder`;
      } catch (error) { said.textContent = error.message; }
    } }, `Keep ${name} in the folder`));
  return h("div", { class: "told" },
    answer.headline ? h("p", { class: "headline" }, answer.headline) : null,
    answer.facts.length ? facts(answer.facts) : null,
    answer.sentences.map((words) => h("p", {}, words)),
    stand,
    answer.tables.map((t) => table(t.caption, t.head, t.rows, { note: t.note, left: t.left })),
    answer.pictures.map((words, n) => h("figure", { class: "picture" },
      h("img", { src: `/api/picture/${key}/${n}`, alt: words }),
      h("figcaption", {}, words))),
    answer.remarks.length ? h("p", { class: "faint" }, answer.remarks.join(" ")) : null,
    answer.small.map((words) => h("p", { class: "faint" }, words)),
    h("p", { class: "noprint row" },
      answer.report ? h("a", { class: "button", href: `/api/report/${key}`, target: "_blank", rel: "noopener" },
        "Open the report") : null,
      files,
      h("button", { type: "button", class: "plain", onclick: () => window.print() }, "Print"),
      h("button", { type: "button", class: "plain", onclick: () => download(`lanesim-${key.slice(0, 8)}.json`,
        JSON.stringify(answer.numbers, null, 2)) }, "Download the numbers"), said));
}

/** Hand a text to the browser as a file. */
export function download(name, text) {
  const url = URL.createObjectURL(new Blob([text], { type: "application/octet-stream" }));
  const link = h("a", { href: url, download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(url), 10000);
}
