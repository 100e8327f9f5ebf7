// "Which balls do I take?": an event as a form, its players and balls, the job and the report.

import { shownAnswer } from "./answer.js";
import { post } from "./api.js";
import { fill, h } from "./dom.js";
import { choice, entry } from "./fields.js";
import { filesOf } from "./controls.js";
import { editBalls, editEvent, editPlayer } from "./edit.js";
import { jobPlace } from "./jobs.js";
import { on, setChoice, state } from "./state.js";

export const id = "bag";
export const sentence = "Which balls do I take?";

export function show(root) {
  const file = choice("Event", [], (value) => setChoice({ event: value }));
  const shots = entry("Shots on each line", (value) => setChoice({ bag_shots: value }),
    { type: "number", min: 64, max: 20000, value: state.choice.bag_shots || "2000" });
  const none = h("div");
  const form = h("div", { class: "editor" });
  const job = jobPlace({ study: "bag", show: shownAnswer, words: "Choose the bag",
    asked: () => (file.select.value ? { file: file.select.value, shots: Number(shots.input.value) || 2000 } : null) });
  const open = (edit, name) => fill(form, edit(name, () => fill(form)));
  const some = (kind, edit, words) => h("label", {}, words, " ", h("select", { "data-kind": kind,
    onchange: (event) => { if (event.target.value) open(edit, event.target.value === "+" ? "" : event.target.value); event.target.value = ""; } }));
  const editors = h("p", { class: "row noprint" }, some("event", editEvent, "Edit an event"),
    some("player", editPlayer, "Edit a player"), some("balls", editBalls, "Edit balls"));
  root.append(
    h("p", {}, "An event says what you bowl on, how long, which balls may come along and what limits hold. Every ball, "
      + "layout and finish is judged on its own best line in every condition; the best bag within the limits is chosen."),
    none, h("div", { class: "fields four" }, file.element, shots.element), editors, form, job.element);

  function fillFiles() {
    const names = filesOf("event");
    file.fill(names.map((name) => [name, name]));
    if (names.includes(state.choice.event)) file.set(state.choice.event);
    for (const select of editors.querySelectorAll("select")) {
      fill(select, h("option", { value: "" }, "choose"), h("option", { value: "+" }, "a new one"),
        filesOf(select.dataset.kind).map((name) => h("option", { value: name }, name)));
    }
    fill(none, names.length ? null : h("p", {}, "No event in the folder yet: ",
      h("button", { type: "button", class: "plain small", onclick: () => post("/api/example", {}) },
        "put the invented example there"), ", drop a file, or make a new one below."));
    file.element.hidden = shots.element.hidden = !names.length;
    job.look();
  }
  fillFiles();
  const off = [on("files", fillFiles), on("choice", job.look)];
  return () => { off.forEach((stop) => stop()); job.off(); };
}
