// The folder's files: what is there, dropped files taken in, files handed out.

import { Mistake, post } from "./api.js";
import { download } from "./answer.js";
import { fill, h } from "./dom.js";
import { on, state } from "./state.js";

const MOST_BYTES = 2_000_000;
const ENDINGS = [".toml", ".oil", ".csv"];
const KINDS = { pattern: "oil", balls: "balls", player: "player", event: "event", fitted: "fitted values",
  shots: "measured shots", log: "games log", grip: "grip", broken: "not in order" };

/** Take files in, one after the other; said(words, good) is told of each. */
export async function takeIn(files, said) {
  for (const file of files) {
    if (!ENDINGS.some((ending) => file.name.toLowerCase().endsWith(ending))) {
      said(`${file.name}: not a file of this kind; accepted: names ending in ${ENDINGS.join(", ")}`, false);
      continue;
    }
    if (file.size > MOST_BYTES) {
      said(`${file.name}: ${(file.size / 1e6).toFixed(1)} MB; accepted: up to ${MOST_BYTES / 1e6} MB`, false);
      continue;
    }
    try {
      // bytes that are no text in UTF-8 are told, not guessed at
      const text = new TextDecoder("utf-8", { fatal: true }).decode(await file.arrayBuffer());
      const entry = await post("/api/file/write", { name: file.name, text, over: false });
      said(`${entry.name}: taken in (${KINDS[entry.kind]})`, true);
    } catch (error) {
      said(error instanceof TypeError ? `${file.name}: not a text file in UTF-8` : error.message, false);
      if (!(error instanceof Mistake || error instanceof TypeError)) throw error;
    }
  }
}

/** Dropping files anywhere on the page takes them in. */
export function dropAnywhere(place) {
  const said = (words, good) => {
    place.append(h("li", { class: good ? "" : "wrong" }, words));
    while (place.children.length > 6) place.firstChild.remove();
  };
  for (const name of ["dragover", "dragenter"]) {
    document.addEventListener(name, (event) => {
      if (![...(event.dataTransfer?.types || [])].includes("Files")) return;
      event.preventDefault();
      document.body.classList.add("dropping");
    });
  }
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) document.body.classList.remove("dropping");
  });
  document.addEventListener("drop", (event) => {
    document.body.classList.remove("dropping");
    if (!event.dataTransfer?.files.length) return;
    event.preventDefault();
    takeIn([...event.dataTransfer.files], said);
  });
  return said;
}

/** The list of files with a button to take some in. */
export function fileList(said) {
  const list = h("ul", { class: "files" });
  const input = h("input", { type: "file", multiple: true, accept: ENDINGS.join(","), "aria-label": "Take files in",
    onchange: async () => { await takeIn([...input.files], said); input.value = ""; } });
  const details = h("details", { class: "filebox noprint" }, h("summary"), list,
    h("p", { class: "faint" }, "Drop files anywhere on the page, or choose: "), input);
  function show() {
    details.firstChild.textContent = `Files in ${state.start.folder} (${state.start.files.length})`;
    fill(list, state.start.files.map((file) => h("li", {},
      h("button", { type: "button", class: "plain small", "aria-label": `Download ${file.name}`,
        onclick: async () => {
          try { download(file.name, (await post("/api/file/read", { name: file.name })).text); } catch (error) { said(error.message, false); }
        } }, file.name), " ",
      h("span", { class: file.kind === "broken" ? "wrong" : "faint" }, file.problem || KINDS[file.kind]))));
  }
  on("files", show);
  show();
  return details;
}
