// The shot in words and numbers: which ball, how it is finished and drilled, on which oil, thrown how.

import { h } from "./dom.js";
import { choice, slider } from "./fields.js";
import { picker } from "./picker.js";
import { on, setShot, state } from "./state.js";

const SLIDERS = [
  ["speed_mph", "Speed", "mph"], ["rev_rpm", "Rev rate", "rpm"],
  ["rotation_deg", "Axis rotation", "deg"], ["tilt_deg", "Axis tilt", "deg"],
  ["laydown_board", "Laydown board", ""], ["target_board", "Board at the arrows", ""],
];
const FINISHES = ["500", "1000", "1500", "2000", "3000", "4000", "5000"];

/** All balls that can be thrown: the shipped ones and those in the folder's files. */
export function ballOptions() {
  const own = state.start.files.filter((f) => f.kind === "balls").flatMap((f) => f.items.map((name) => ({
    value: `${f.name}:${name}`, label: name, hint: f.name })));
  return [...own, ...state.start.balls.map((b) => ({ value: b.spec, label: b.name, hint: b.title }))];
}

export function patternOptions() {
  const own = state.start.files.filter((f) => f.kind === "pattern").map((f) => ({
    value: f.name, label: f.items[0] || f.name, hint: f.name }));
  return [...own, ...state.start.patterns.map((p) => ({
    value: p.spec, label: p.spec, hint: `${p.title}, ${p.length_ft} ft` }))];
}

export const filesOf = (kind) => state.start.files.filter((f) => f.kind === kind).map((f) => f.name);

function finishOptions() {
  return [{ value: "", label: "as it is", hint: ballView()?.finish || "the ball's own" },
    ...FINISHES.map((grit) => ({ value: grit, label: `${grit} grit`, hint: "freshly sanded" })),
    { value: "polish", label: "polished", hint: "fresh" }];
}

function layoutOptions() {
  const own = ballView()?.layout;
  return [{ value: "", label: "as drilled", hint: own || "the ball's own" },
    ...["drill 45 deg, pin 3.5 in, VAL 30 deg", "drill 50 deg, pin 4.5 in, VAL 30 deg",
      "drill 60 deg, pin 5 in, VAL 45 deg", "drill 75 deg, pin 2.5 in, VAL 60 deg",
      "drill 90 deg, pin 3.5 in, VAL 45 deg"].map((text) => ({ value: text, label: text }))];
}

const ballView = () => state.start.balls.find((b) => b.spec === state.shot.ball);

/** Build the fields; returns complain(field, words), which says a mistake beside its field. */
export function shotControls(root) {
  const made = {
    ball: picker("Ball", ballOptions, (ball) => setShot({ ball, finish: "", layout: "" })),
    finish: picker("Finish", finishOptions, (finish) => setShot({ finish }), { free: true }),
    layout: picker("Layout", layoutOptions, (layout) => setShot({ layout }), { free: true }),
    pattern: picker("Oil", patternOptions, (pattern) => setShot({ pattern })),
    hand: choice("Hand", [["right", "right-handed"], ["left", "left-handed"]], (hand) => setShot({ hand })),
    level: choice("Repeats like", [], (value) => {
      setShot(value.endsWith(".toml") ? { player: value } : { level: value, player: "" });
    }),
    fitted: choice("Ball and lane", [], (fitted) => setShot({ fitted })),
  };
  for (const [name, label, unit] of SLIDERS) {
    made[name] = slider(label, unit, state.start.limits[name], (value, at) => setShot({ [name]: value }, at));
  }
  const wrong = h("p", { class: "wrong", role: "alert" });
  root.replaceChildren(
    h("h2", { id: "asked-head" }, "The shot"),
    h("div", { class: "fields" }, ["ball", "finish", "layout", "pattern"].map((n) => made[n].element)),
    h("div", { class: "fields" }, SLIDERS.map(([name]) => made[name].element)),
    h("div", { class: "fields pair" }, made.hand.element, made.level.element, made.fitted.element), wrong);

  function fillChoices() {
    made.level.fill([...state.start.levels.map((level) => [level, level === "elite"
      ? "the best (assumed)" : `${level} average (assumed)`]),
    ...filesOf("player").map((file) => [file, file])]);
    made.fitted.fill([["", "assumed values"], ...filesOf("fitted").map((file) => [file, `fitted: ${file}`])]);
  }

  function show() {
    for (const name of ["ball", "finish", "layout", "pattern", "hand", "fitted"]) {
      made[name].set(state.shot[name] || "");
    }
    made.level.set(state.shot.player || state.shot.level);
    for (const [name] of SLIDERS) made[name].set(state.shot[name]);
  }

  on("shot", show);
  on("files", () => { fillChoices(); show(); });
  fillChoices();
  show();
  return (field, words) => {
    for (const one of Object.values(made)) one.complain("");
    wrong.textContent = "";
    if (words && made[field]) made[field].complain(words); else wrong.textContent = words || "";
  };
}
