// "How do I make my spares?": tap the pins that stand; the chance, and where to send the ball.

import { Mistake, newest, post } from "./api.js";
import { facts, fill, h, later, num, percent, table } from "./dom.js";
import { on, setChoice, setShot, state } from "./state.js";

export const id = "spares";
export const sentence = "How do I make my spares?";

const ROWS = [[7, 8, 9, 10], [4, 5, 6], [2, 3], [1]];

export function show(root) {
  const standing = new Set((state.choice.pins || "10").split("-").map(Number).filter((n) => n >= 1 && n <= 10));
  const boxes = ROWS.map((row) => h("div", { class: "pinrow" }, row.map((pin) => h("label", { class: "pin" },
    h("input", { type: "checkbox", checked: standing.has(pin), "aria-label": `Pin ${pin} stands`,
      onchange: (event) => {
        if (event.target.checked) standing.add(pin); else standing.delete(pin);
        setChoice({ pins: [...standing].sort((a, b) => a - b).join("-") });
        ask();
      } }), h("span", {}, String(pin))))));
  const said = h("div", { role: "status" });
  const usual = h("div");
  root.append(h("p", {}, "Tap the pins that stand."),
    h("div", { class: "spares" }, h("fieldset", { class: "rack" }, h("legend", {}, "Standing, seen from the foul line"), boxes), said), usual);

  const struck = () => fill(said, h("p", {}, "No pin stands: that was a strike."));
  const send = newest((asked) => post("/api/spares", asked), (found) => {
    if (!standing.size) return; // the last pin was taken away while the answer was on its way
    fill(said,
      h("p", { class: "headline" }, `${found.leave}: made in ${percent(found.rate, 0)} of 100 tries`),
      facts([
        ["interval", `${percent(found.low, 0)} to ${percent(found.high, 0)} % (95 %)`],
        ["from", found.source_words],
        ["send it to", `board ${num(found.aim_board, 0)} at the pins`],
        ["from where you stand", `board ${num(state.shot.laydown_board)} over board ${num(found.target_board)} at the arrows, straight`],
        ["your spread", `${num(found.spread_at_pins)} boards at the pins, two shots in three (${found.spread_source})`],
      ]),
      h("button", { type: "button", class: "plain noprint", onclick: () => setShot({ ball: "plastic-spare", finish: "", layout: "",
        rotation_deg: 0, tilt_deg: 0, target_board: found.target_board }) }, "Throw the plastic ball there"));
    const t = found.usual;
    fill(usual, table(t.caption, t.head, t.rows, { note: t.note, left: t.left }));
  }, (error) => { if (!(error instanceof Mistake)) throw error; fill(said, h("p", { class: "wrong" }, error.message)); });
  const rested = later(() => { if (standing.size) send({ ...state.shot, pins: [...standing].sort((a, b) => a - b) }); }, 60);
  function ask() {
    if (standing.size) rested(); else struck();
  }
  ask();
  const off = on("shot", ask);
  return () => off();
}
