// "What does this ball do?": the numbers of one shot, the ball turning, the curves.

import { BallView } from "./ball.js";
import { Curves } from "./curves.js";
import { facts, fill, h, num } from "./dom.js";
import { on, state } from "./state.js";

export const id = "shot";
export const sentence = "What does this ball do?";

/** The story of a shot as names and values. */
export function story(q) {
  const full = q.t_s !== undefined;
  const first = (name) => (full ? q[name][0] : null);
  const last = (name) => (full ? q[name].at(-1) : null);
  return [
    ["hook begins", `${num(q.hook_ft)} ft`],
    ["roll begins", q.roll_ft === null ? "never: it still slips at the end" : `${num(q.roll_ft)} ft`],
    ["breakpoint", `board ${num(q.breakpoint_board)} at ${num(q.breakpoint_ft)} ft`],
    q.entry_board === null ? null : ["entry", `board ${num(q.entry_board)} at `
      + `${num(q.entry_angle_deg)} deg, ${num(q.entry_speed_mph)} mph`
      + (full ? `, ${num(q.entry_rev_rpm, 0)} rpm, slip ${num(q.entry_slip_ms)} m/s` : "")],
    full && q.first_pin ? ["first pin", String(q.first_pin)] : null,
    ["outcome", q.outcome_words],
    ["time", `${num(q.time_s, 2)} s`],
    full ? ["speed lost", `${num(first("speed_mph") - last("speed_mph"))} mph`] : null,
    full ? ["rotation", `${num(first("rotation_deg"), 0)} to ${num(last("rotation_deg"), 0)} deg`] : null,
    full ? ["tilt", `${num(first("tilt_deg"), 0)} to ${num(last("tilt_deg"), 0)} deg`] : null,
    ["revolutions", num(full ? q.total_revolutions : q.revolutions)],
    ["track flare", `${num(full ? q.total_flare_in : q.flare_in, 2)} in`],
    full ? ["friction work", `${num(q.friction_work_j, 0)} J`] : null,
    full ? ["launch angle", `${num(q.release.launch_angle_deg, 2)} deg`] : null,
  ];
}

export function show(root) {
  const canvas = h("canvas", { class: "ball", role: "img", "aria-label": "The ball as it turns" });
  const ball = new BallView(canvas);
  const curves = new Curves(state.start.series, (ft) => state.pointAt(ft));
  const numbers = h("div", { class: "story" });
  const note = h("p", { class: "faint" });
  root.append(
    h("div", { class: "shot" },
      h("figure", { class: "ballbox" }, canvas,
        h("figcaption", { class: "faint" }, "Seen from the foul line. Lilac: oil on the track. White stick: the axis it turns about.")),
      numbers),
    curves.element, note);

  function draw() {
    const slot = Math.min(state.kept.length, state.start.series.length - 1);
    ball.show(state.full, state.shot.hand, state.time ?? 0);
    curves.show(state.full ? [{ full: state.full, slot }] : [], state.time);
    canvas.setAttribute("aria-label", state.full
      ? `The ball as it turns: ${num(state.full.total_revolutions)} revolutions, track flare ${num(state.full.total_flare_in, 2)} in`
      : "The ball as it turns");
    curves.element.classList.toggle("old", !state.full);
    const q = state.full || state.quick;
    if (q) fill(numbers, facts(story(q)));
    if (state.full) {
      fill(note, [`Values: ${state.full.provenance}. `, ...(state.full.remarks || [])].join(" "));
    }
  }
  const off = ["full", "time", "quick"].map((name) => on(name, draw));
  draw();
  return () => off.forEach((stop) => stop());
}
