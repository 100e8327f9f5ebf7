// Letting it roll: real time or slow motion, and a scrubber along the shot.

import { h, num } from "./dom.js";
import { on, state, tell } from "./state.js";
import { between, moment } from "./turning.js";

const SLOW = 0.2;

/** The bar below the lane. `pointAt(ft)` moves the ball to a distance. */
export function playBar(root) {
  let running = 0;
  let slow = false;
  const button = h("button", { type: "button", class: "play", onclick: () => (running ? stop() : go()) },
    "Let it roll");
  const speed = h("label", { class: "tick" }, h("input", { type: "checkbox",
    onchange: (event) => { slow = event.target.checked; } }), " slow motion");
  const scrubber = h("input", { type: "range", min: "0", max: "1", step: "0.002", value: "0",
    "aria-label": "Where the ball is", oninput: () => { stop(); move(Number(scrubber.value)); } });
  const words = h("output", { class: "where" });
  root.append(button, speed, scrubber, words);

  const whole = () => (state.full ? state.full.t_s.at(-1) : 0);

  function move(time) {
    state.time = time;
    show();
    tell("time");
  }

  function show() {
    scrubber.max = String(whole() || 1);
    scrubber.disabled = button.disabled = !state.full;
    scrubber.value = String(state.time ?? 0);
    let text = "";
    if (state.full && state.time !== null) {
      const now = moment(state.full, state.time);
      text = `${num(between(state.full.x_ft, now))} ft, board `
        + `${num(between(state.full.y_board, now))}, ${num(state.time, 2)} s`;
    }
    words.textContent = text;
    scrubber.setAttribute("aria-valuetext", text || "at the foul line");
  }

  function go() {
    if (!state.full) return;
    let time = state.time === null || state.time >= whole() - 0.01 ? 0 : state.time;
    let last = performance.now();
    button.textContent = "Hold it";
    const step = (now) => {
      time += ((now - last) / 1000) * (slow ? SLOW : 1);
      last = now;
      move(Math.min(time, whole()));
      if (time < whole()) running = requestAnimationFrame(step); else stop();
    };
    running = requestAnimationFrame(step);
  }

  function stop() {
    cancelAnimationFrame(running);
    running = 0;
    button.textContent = "Let it roll";
  }

  on("shot", () => { stop(); state.time = null; show(); });
  on("full", show);
  on("time", show);
  show();
  return { pointAt: (time) => { stop(); move(time); } };
}
