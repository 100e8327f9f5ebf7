// "What happens as the games go by?": the oil moves, and the covers age.

import { shownAnswer } from "./answer.js";
import { h } from "./dom.js";
import { choice, entry } from "./fields.js";
import { ballOptions, filesOf } from "./controls.js";
import { jobPlace } from "./jobs.js";
import { on, setChoice, state } from "./state.js";

export const id = "games";
export const sentence = "What happens as the games go by?";

const whole = (text, usual) => (Number.isInteger(Number(text)) && text !== "" ? Number(text) : usual);

export function show(root) {
  const at = (name, usual) => state.choice[name] ?? usual;
  const set = (name) => (value) => { setChoice({ [name]: value }); };
  const games = entry("Games", set("games"), { type: "number", min: 1, max: 12, value: at("games", "3") });
  const players = entry("Players on the lanes, like you", set("players"),
    { type: "number", min: 1, max: 6, value: at("players", "1") });
  const other = choice("Look at another ball too", [["", "none"],
    ...ballOptions().map((o) => [o.value, o.label])], set("other"));
  const moves = choice("As the oil moves", [["", "all move with it"], ["stay", "nobody moves"]], set("stay"));
  other.set(at("other", ""));
  moves.set(at("stay", ""));
  const asked = () => ({ ...state.shot, games: whole(at("games", ""), 3), players: whole(at("players", ""), 1),
    others: at("other", "") ? [at("other", "")] : [], stay: at("stay", "") === "stay" });
  const job = jobPlace({ study: "games", asked, show: shownAnswer, words: "Play the games" });

  const logs = choice("Games log", [], set("log"));
  const balls = choice("Balls of the log", [], set("log_balls"));
  const event = entry("Date of the event", set("event_day"), { type: "date", value: at("event_day", "") });
  const wear = jobPlace({ study: "wear", show: shownAnswer, words: "Judge my covers",
    asked: () => (logs.select.value ? { ...state.shot, file: logs.select.value, balls_file: balls.select.value,
      event: at("event_day", ""), today: today() } : null) });
  const none = h("p", { class: "faint" });
  root.append(
    h("h2", {}, "The oil"),
    h("div", { class: "fields four" }, games.element, players.element, other.element, moves.element),
    job.element,
    h("h2", {}, "The covers"), none,
    h("div", { class: "fields four" }, logs.element, balls.element, event.element), wear.element);

  function fillFiles() {
    logs.fill(filesOf("log").map((name) => [name, name]));
    balls.fill([["", "the shipped balls"], ...filesOf("balls").map((name) => [name, name])]);
    if (at("log", "")) logs.set(at("log", ""));
    balls.set(at("log_balls", ""));
    none.textContent = filesOf("log").length ? "" : "A log of games on each ball (a .csv file: date, ball, games, "
      + "refreshed, extracted, note) tells what each ball has lost. Drop one here.";
  }
  fillFiles();
  const off = [on("files", fillFiles), ...["shot", "choice"].map((name) => on(name, () => { job.look(); wear.look(); }))];
  return () => { off.forEach((stop) => stop()); job.off(); wear.off(); };
}

/** Today here, as YYYY-MM-DD. */
function today() {
  const now = new Date();
  return new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
}
