// "What do my shots say?": measured shots set the model to the player's own lane.

import { shownAnswer } from "./answer.js";
import { post } from "./api.js";
import { h } from "./dom.js";
import { choice } from "./fields.js";
import { filesOf } from "./controls.js";
import { jobPlace } from "./jobs.js";
import { on, setChoice, state } from "./state.js";

export const id = "shots";
export const sentence = "What do my shots say?";

export function show(root) {
  const file = choice("Measured shots", [], (value) => setChoice({ shots: value }));
  const none = h("div");
  const job = jobPlace({ study: "fit", show: shownAnswer, words: "Set the model to these shots",
    asked: () => (file.select.value ? { ...state.shot, file: file.select.value } : null) });
  root.append(
    h("p", {}, "Shots that you or a camera measured, one a line in a .csv file, make the numbers your own. The ball, "
      + "the oil and your usual release of this page stand in where the file does not say."),
    none, h("div", { class: "fields four" }, file.element), job.element,
    h("p", { class: "faint" }, "Keep the fitted file in the folder, then choose it under “Ball and lane”: every answer "
      + "then uses your own values and says so. Keep gutter balls in the file, with the word gutter in a column outcome."));
  function fillFiles() {
    const names = filesOf("shots");
    file.fill(names.map((name) => [name, name]));
    if (names.includes(state.choice.shots)) file.set(state.choice.shots);
    file.element.hidden = !names.length;
    none.replaceChildren(...(names.length ? [] : [h("p", {}, "No shots in the folder yet: drop a file on the page, or ",
      h("button", { type: "button", class: "plain small", onclick: () => post("/api/example", {}) },
        "put the invented examples there"), ".")]));
    job.look();
  }
  fillFiles();
  const off = [on("files", fillFiles), on("shot", job.look), on("choice", job.look)];
  return () => { off.forEach((stop) => stop()); job.off(); };
}
