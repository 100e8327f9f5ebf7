// "Where do I stand?": the map, the corridor of misses that still hit, and the best line.

import { shownAnswer } from "./answer.js";
import { Mistake, newest, post } from "./api.js";
import { fill, h, later, num, rate } from "./dom.js";
import { choice } from "./fields.js";
import { jobPlace } from "./jobs.js";
import { StandMap } from "./map.js";
import { on, setChoice, setShot, state, tell } from "./state.js";

export const id = "stand";
export const sentence = "Where do I stand?";

/** What does not depend on where one stands: all but the line itself. */
const elsewhere = (shot) => ({ ...shot, laydown_board: 20, target_board: 12 });

export function show(root) {
  const map = new StandMap(state.start.scale.heat, state.start.map_arrows, (line) => setShot(line));
  const room = h("p", { class: "room" });
  let about = "";
  const asked = () => elsewhere(state.shot);
  const mapJob = jobPlace({
    study: "map", asked, auto: true, words: "Fill the map",
    part: (row, what) => {
      if (JSON.stringify(what) !== about) { about = JSON.stringify(what); map.clear(); }
      map.add(row.laydown, row.rates, state.start.map_arrows);
    },
    show: (answer) => {
      about = JSON.stringify(asked());
      map.clear();
      for (const row of answer.numbers.rows) map.add(row.laydown, row.rates, answer.numbers.arrows);
      return h("div", {}, answer.sentences.map((words) => h("p", {}, words)),
        h("button", { type: "button", class: "plain noprint", onclick: () => setShot(answer.line) }, "Stand there"));
    },
  });
  const aim = choice("Look for", [["pocket", "the pocket"], ["strike", "strikes"]], (value) => {
    setChoice({ aim: value });
    lineJob.look();
  });
  aim.set(state.choice.aim || "pocket");
  const lineJob = jobPlace({ study: "line", show: shownAnswer, words: "Find the best line",
    asked: () => ({ ...elsewhere(state.shot), aim: aim.select.value }) });
  root.append(h("div", { class: "stand" },
    h("figure", { class: "mapbox" }, map.canvas,
      h("figcaption", {}, "Darker: more of your shots find the pocket. Click to stand there.")),
    h("div", {}, room, mapJob.element, h("h2", {}, "The best line"), aim.element, lineJob.element)));

  let corridor = null;
  state.corridor = () => corridor;
  const askCorridor = newest((shot) => post("/api/corridor", shot), (found) => {
    corridor = found.low.length ? found : null;
    fill(room, "From here ", h("strong", {}, `${rate(found.rate, 0)} %`), " of your shots find the pocket; nine in ten "
      + "of those stay inside the green corridor"
      + (corridor ? `, ${num(widest(corridor))} boards at its widest. ` : ". "),
    h("span", { class: "faint" }, `Spread: ${found.spread_source}.`));
    tell("draw");
  }, (error) => { if (!(error instanceof Mistake)) throw error; corridor = null; fill(room, error.message); });
  const whenItRests = later(() => askCorridor(state.shot), 120);

  function moved() {
    map.show({ laydown_board: state.shot.laydown_board, target_board: state.shot.target_board });
    whenItRests();
  }
  let before = JSON.stringify(asked());
  const off = [on("shot", () => {
    corridor = null;
    moved();
    const now = JSON.stringify(asked());
    if (now !== before) { before = now; mapJob.look(); lineJob.look(); }
  })];
  moved();
  return () => { off.forEach((stop) => stop()); mapJob.off(); lineJob.off(); };
}

const widest = ({ low, high }) => Math.max(...low.map((board, ft) => high[ft] - board));
