// The two places to take hold of: the ball on the foul line and the mark at the arrows.
// Each is a slider for keyboard and screen reader too.

import { h, num } from "./dom.js";

const STEP = { laydown_board: 0.5, target_board: 0.1 };

/** Put both over the lane; `change(part, at)` is told of each move. */
export function addHandles(stage, view, limits, change) {
  const made = {
    laydown_board: handle("Laydown board, at the foul line", "at-foul-line"),
    target_board: handle("Board at the arrows", "at-arrows"),
  };
  let shot = null;

  function handle(label, kind) {
    return h("div", { class: `handle ${kind}`, role: "slider", tabindex: "0", "aria-label": label,
      "aria-orientation": "vertical", title: label });
  }

  function put(name, value, at) {
    const [low, high] = limits[name];
    const rounded = Math.round(value / 0.1) * 0.1;
    const next = Number(Math.min(high, Math.max(low, rounded)).toFixed(2));
    if (next !== shot[name]) change({ [name]: next }, at);
  }

  for (const [name, element] of Object.entries(made)) {
    let from = null;
    element.addEventListener("pointerdown", (event) => {
      element.setPointerCapture(event.pointerId);
      from = event.clientY - view.y(shot[name]);
      element.focus();
      event.preventDefault();
    });
    element.addEventListener("pointermove", (event) => {
      if (from !== null) put(name, view.boardAt(event.clientY - from), event.timeStamp);
    });
    const end = () => { from = null; };
    element.addEventListener("pointerup", end);
    element.addEventListener("pointercancel", end);
    element.addEventListener("keydown", (event) => {
      // up on the picture is up for the eye: fewer boards for a left-hander
      const up = view.hand === "left" ? -1 : 1;
      const [low, high] = limits[name];
      const step = STEP[name];
      const moves = { ArrowUp: up * step, ArrowRight: step, ArrowDown: -up * step, ArrowLeft: -step,
        PageUp: up * 2, PageDown: -up * 2 };
      if (event.key in moves) put(name, shot[name] + moves[event.key], event.timeStamp);
      else if (event.key === "Home") put(name, low, event.timeStamp);
      else if (event.key === "End") put(name, high, event.timeStamp);
      else return;
      event.preventDefault();
    });
    stage.append(element);
  }

  return function place(next) {
    shot = next;
    const places = {
      laydown_board: [view.x(0), view.y(shot.laydown_board)],
      target_board: [view.x(view.arrowFt(shot.target_board)), view.y(shot.target_board)],
    };
    for (const [name, element] of Object.entries(made)) {
      element.style.left = `${places[name][0]}px`;
      element.style.top = `${places[name][1]}px`;
      const [low, high] = limits[name];
      element.setAttribute("aria-valuemin", low);
      element.setAttribute("aria-valuemax", high);
      element.setAttribute("aria-valuenow", shot[name]);
      element.setAttribute("aria-valuetext", `board ${num(shot[name])}`);
    }
  };
}
