// Putting it together: the lane on top, one question below it.

import { follow, get, Mistake, newest, post } from "./api.js";
import { shotControls } from "./controls.js";
import { fill, h, later, num } from "./dom.js";
import { dropAnywhere, fileList } from "./files.js";
import { addHandles } from "./handles.js";
import { followKept, keptPaths } from "./kept.js";
import { LaneView } from "./lane.js";
import { playBar } from "./play.js";
import { QUESTIONS } from "./questions.js";
import { fromAddress, on, setQuestion, setShot, single, state, tell } from "./state.js";
import { between, moment, timeAt } from "./turning.js";

const REST_MS = 140; // a hand that rests so long gets the shot in full

const find = (id) => document.getElementById(id);
/** How soon each move of the hand showed [ms], for the benchmark. */
const shown = [];
window.lanesimShown = shown;

async function begin() {
  try {
    state.start = await get("/api/start");
  } catch (error) {
    fill(find("result"), error.message);
    return;
  }
  const first = { ...state.start.shot, level: state.start.level, player: "" };
  fromAddress(first);
  find("folder").append(fileList(dropAnywhere(find("dropped"))));
  const view = new LaneView(find("lane"), state.start);
  const place = addHandles(find("stage"), view, state.start.limits, setShot);
  const complain = shotControls(find("asked"));
  const bar = playBar(find("playing"));
  state.pointAt = (ft) => { if (state.full) bar.pointAt(timeAt(state.full, ft)); };
  state.view = view;
  state.complain = complain;
  listen(view, place, complain);
  drawQuestions();
  showQuestion();
  news();
  tell("shot", state.shot, performance.now());
}

function listen(view, place, complain) {
  let pattern = "";
  let drawnFor = null;

  const askFull = newest((shot) => post("/api/shot", shot), (full, shot) => {
    if (JSON.stringify(shot) !== JSON.stringify(single(state.shot))) return;
    state.full = full;
    tell("full");
  }, (error) => say(error));
  const whenItRests = later(() => askFull(single(state.shot)), REST_MS);

  const askQuick = newest((shot) => post("/api/quick", shot), (quick, shot, at) => {
    state.quick = quick;
    drawnFor = at;
    complain("", "");
    drawShot();
    tell("quick");
  }, (error) => say(error));

  function say(error) {
    state.quick = state.full = null;
    if (error instanceof Mistake) complain(error.field, error.message);
    else throw error;
    drawShot();
    fill(find("result"), error.message);
  }

  async function askPattern() {
    const name = `${state.shot.pattern}|${state.shot.fitted}`;
    if (name === pattern) return;
    pattern = name;
    try {
      state.pattern = await post("/api/pattern", { pattern: state.shot.pattern, fitted: state.shot.fitted });
      view.setPattern(state.pattern);
      tell("pattern");
    } catch (error) {
      pattern = "";
      if (!(error instanceof Mistake)) throw error;
    }
  }

  function drawShot() {
    const shot = state.shot;
    view.aim = { laydown: shot.laydown_board, target: shot.target_board };
    view.paths = [...keptPaths(),
      ...(state.quick ? [{ ...state.quick, slot: currentSlot() }] : [])];
    view.corridor = state.corridor ? state.corridor() : null;
    if (state.full && state.time !== null) {
      const now = moment(state.full, state.time);
      view.ball = { ft: between(state.full.x_ft, now), board: between(state.full.y_board, now),
        slot: currentSlot() };
    } else view.ball = { ft: 0, board: shot.laydown_board, slot: currentSlot() };
    view.draw();
    if (state.quick) showResult();
  }

  on("shot", (_, at) => {
    state.full = null;
    view.setHand(state.shot.hand);
    place(state.shot);
    askPattern();
    askQuick(single(state.shot), at);
    whenItRests();
  });
  for (const name of ["time", "kept", "full", "draw"]) on(name, drawShot);
  followKept();
  on("files", () => { pattern = ""; askPattern(); askQuick(single(state.shot), performance.now()); whenItRests(); });
  view.canvas.addEventListener("placed", () => place(state.shot));
  view.drawn = () => {
    if (drawnFor === null) return;
    shown.push(performance.now() - drawnFor);
    if (shown.length > 2000) shown.shift();
    drawnFor = null;
  };
  window.addEventListener("hashchange", () => {
    const before = state.question;
    fromAddress({ ...state.start.shot, level: state.start.level, player: "" });
    if (before !== state.question) { drawQuestions(); showQuestion(); }
    tell("kept");
    tell("shot", state.shot, performance.now());
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { view.ground = null; view.draw(); });
  place(state.shot);
}

export const currentSlot = () => Math.min(state.kept.length, state.start.series.length - 1);

function showResult() {
  const q = state.full || state.quick;
  const entry = q.entry_board === null ? "" : `: board ${num(q.entry_board)} at ${num(q.entry_angle_deg)} deg, `
    + `${num(q.entry_speed_mph)} mph`;
  const words = q.outcome_words.replace(/ \(.*\)/, "");
  find("lane").setAttribute("aria-label", `The lane. The ball ends ${words}${entry}`);
  fill(find("result"), h("strong", { class: `outcome ${q.outcome}` }, words[0].toUpperCase() + words.slice(1)),
    `${entry}; breakpoint board ${num(q.breakpoint_board)} at ${num(q.breakpoint_ft)} ft`);
}

function drawQuestions() {
  fill(find("questions"), h("ul", {}, QUESTIONS.map((question) => h("li", {}, h("a", {
    href: `#q=${question.id}`, "aria-current": question.id === state.question ? "true" : null,
    onclick: (event) => {
      event.preventDefault();
      setQuestion(question.id);
    } }, question.sentence)))));
}

let leave = () => {};
function showQuestion() {
  leave();
  state.corridor = null;
  const question = QUESTIONS.find((one) => one.id === state.question) || QUESTIONS[0];
  const root = find("answer");
  fill(root, h("h1", { id: "answer-head" }, question.sentence));
  document.body.dataset.question = question.id;
  leave = question.show(root) || (() => {});
  tell("draw");
}

function news() {
  on("question", () => { drawQuestions(); showQuestion(); find("answer").focus({ preventScroll: true }); });
  const engine = find("engine");
  follow({
    ready: (what) => {
      engine.textContent = what.problem || (what.ready ? "" : "getting the engine ready; the first time "
        + "this takes about half a minute");
    },
    files: (files) => { state.start.files = files; tell("files"); },
    jobs: (jobs) => { state.jobs = jobs; tell("jobs"); },
    job: (job) => { tell("job", job); },
    part: (part) => { tell("part", part); },
  }, (lost) => { if (lost) engine.textContent = "lanesim does not answer; is it still running?"; });
}

begin();
