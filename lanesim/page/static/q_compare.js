// "What if I change it?": shots kept side by side, each against the first.

import { shownAnswer } from "./answer.js";
import { Curves } from "./curves.js";
import { fill, h, num, signed, table } from "./dom.js";
import { jobPlace } from "./jobs.js";
import { keptFull, shotWords } from "./kept.js";
import { drawMarker } from "./lane.js";
import { drop, keep, on, setShot, single, state } from "./state.js";

export const id = "compare";
export const sentence = "What if I change it?";

const COLUMNS = [
  ["hook_ft", ["hook", "ft"], 1], ["roll_ft", ["roll", "ft"], 1],
  ["breakpoint_board", ["breakpoint", "board"], 1], ["breakpoint_ft", ["at", "ft"], 1],
  ["entry_board", ["entry", "board"], 1], ["entry_angle_deg", ["angle", "deg"], 2],
  ["entry_speed_mph", ["speed", "mph"], 1], ["total_flare_in", ["flare", "in"], 1],
];

/** The mark by which a shot is known on the lane and in every picture. */
export function mark(slot) {
  const canvas = h("canvas", { class: "mark", width: "36", height: "18", "aria-hidden": "true" });
  const pen = canvas.getContext("2d");
  const style = state.start.series[slot];
  pen.lineWidth = 3;
  pen.strokeStyle = style.color;
  pen.setLineDash(style.dash.map((d) => 2 * d));
  pen.beginPath();
  pen.moveTo(1, 9);
  pen.lineTo(35, 9);
  pen.stroke();
  pen.setLineDash([]);
  drawMarker(pen, style.marker, 18, 9, style.color, 6);
  return canvas;
}

const isKept = () => state.kept.some(
  (shot) => JSON.stringify(single(shot)) === JSON.stringify(single(state.shot)));

export function show(root) {
  const most = state.start.series.length - 1;
  const button = h("button", { type: "button", onclick: () => keep({ ...state.shot }) }, "Keep this shot");
  const hint = h("p", { class: "faint" });
  const list = h("ol", { class: "kept", "aria-label": "Kept shots" });
  const tables = h("div");
  const curves = new Curves(state.start.series, (ft) => state.pointAt(ft));
  const asked = () => {
    const all = [...state.kept, ...(isKept() ? [] : [state.shot])];
    return all.length < 2 || all.length > 8 ? null
      : { shots_thrown: all.map(single), level: state.shot.level, player: state.shot.player };
  };
  const job = jobPlace({ study: "compare", asked, show: shownAnswer,
    words: "Throw each 4,096 times, as I repeat" });
  root.append(h("p", { class: "row noprint" }, button), hint, list, tables, curves.element, job.element);

  function drawList() {
    button.disabled = state.kept.length >= most || isKept();
    hint.textContent = state.kept.length === 0
      ? "Keep the shot as it is, then change something: the ball, its finish, the oil, your speed. Both stay on the lane."
      : isKept() ? "Change something about the shot; what differs from the first is told below." : "";
    fill(list, state.kept.map((shot, slot) => h("li", {}, mark(slot), h("span", {}, shotWords(shot)),
      h("button", { type: "button", class: "plain small noprint", onclick: () => setShot({ ...shot }) }, "Take it up again"),
      h("button", { type: "button", class: "plain small noprint", "aria-label": `Drop shot ${slot + 1}`,
        onclick: () => drop(slot) }, "Drop"))),
    state.kept.length && !isKept() ? h("li", { class: "now" }, mark(Math.min(state.kept.length, most)),
      h("span", {}, `${shotWords(state.shot)} – the shot on the lane`)) : null);
  }

  function draw() {
    drawList();
    const shots = keptFull(draw).filter((one) => one.full);
    if (state.full && !isKept()) {
      shots.push({ shot: state.shot, slot: Math.min(state.kept.length, most), full: state.full });
    }
    curves.element.hidden = shots.length < 1;
    curves.show(shots, state.time);
    const [first] = shots;
    if (shots.length < 2) { fill(tables); return; }
    const head = ["", ...COLUMNS.map(([, words]) => words), "outcome"];
    const label = ({ slot, shot }) => h("span", { class: "row" }, mark(slot), shot.ball.split(":").at(-1));
    fill(tables,
      table("One shot each", head, shots.map((one) => [label(one),
        ...COLUMNS.map(([key, , decimals]) => num(one.full[key], decimals)), one.full.outcome]),
      { left: [0, head.length - 1] }),
      table("Differences from the first", head.slice(0, -1), shots.slice(1).map((one) => [label(one),
        ...COLUMNS.map(([key, , decimals]) => signed(
          one.full[key] === null || first.full[key] === null ? null : one.full[key] - first.full[key], decimals))])));
  }

  const off = ["kept", "full", "time", "shot"].map((name) => on(name, draw));
  off.push(on("kept", job.look), on("shot", job.look));
  draw();
  return () => { off.forEach((stop) => stop()); job.off(); };
}
