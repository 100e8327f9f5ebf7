// Forms for players, balls and events. They write the same files that the commands read, whole or
// not at all; the file's own reader says what is wrong, and it is shown beside the field it names.

import { Mistake, post } from "./api.js";
import { ballOptions, filesOf, patternOptions } from "./controls.js";
import { fill, h } from "./dom.js";
import { state } from "./state.js";

let count = 0;

/** One field: [key, words, kind, more]; kind: text, number, whole, tick, list, or a list of choices. */
function field(key, words, kind, value) {
  const id = `edit-${count++}`;
  const wrong = h("p", { class: "wrong", id: `${id}-wrong` });
  const about = { id, "data-key": key, "aria-describedby": `${id}-wrong` };
  let input;
  if (Array.isArray(kind)) {
    input = h("select", about, kind.map((option) => h("option", { value: option[0] }, option[1])));
    if (value && !kind.some(([v]) => v === value)) input.append(h("option", { value }, value));
    input.value = value ?? kind[0][0];
  } else if (kind === "tick") input = h("input", { ...about, type: "checkbox", checked: Boolean(value) });
  else input = h("input", { ...about, type: "text", inputmode: ["number", "whole"].includes(kind) ? "decimal" : null,
    value: kind === "list" ? (value || []).join("; ") : value ?? "" });
  function read() {
    if (kind === "tick") return input.checked;
    const text = input.value.trim();
    if (kind === "list") return text ? text.split(";").map((part) => part.trim()).filter(Boolean) : [];
    if (kind === "wholes") return text ? text.split(/[,;\s]+/).map(Number) : undefined;
    if (kind === "number" || kind === "whole") return text === "" ? undefined : Number.isFinite(Number(text)) ? Number(text) : text;
    return text === "" ? undefined : text;
  }
  if (kind === "wholes") input.value = (value || []).join(", ");
  const element = h("div", { class: kind === "tick" ? "field tickfield" : "field" }, h("label", { for: id }, words), input, wrong);
  return { key, element, read, complain: (text) => { wrong.textContent = text; input.setAttribute("aria-invalid", String(Boolean(text))); } };
}

/** Fields in a block, read together. */
function block(defs, values) {
  const fields = defs.map(([key, words, kind]) => field(key, words, kind, values?.[key]));
  return { element: h("div", { class: "fields four" }, fields.map((f) => f.element)), fields,
    read: () => Object.fromEntries(fields.map((f) => [f.key, f.read()]).filter(([, v]) => v !== undefined)) };
}

/** A list of blocks that grows and shrinks. */
function blocks(words, defs, values, blank) {
  const rows = [];
  const place = h("div");
  function add(value) {
    const row = block(defs, value);
    const set = h("fieldset", {}, h("legend", {}, words), row.element, h("button", { type: "button", class: "plain small",
      onclick: () => { rows.splice(rows.indexOf(row), 1); set.remove(); } }, `Take this ${words} out`));
    rows.push(row);
    place.append(set);
  }
  (values || []).forEach(add);
  return { element: h("div", {}, place, h("button", { type: "button", class: "plain small", onclick: () => add(blank()) },
    `Add a ${words}`)), all: () => rows.flatMap((row) => row.fields), read: () => rows.map((row) => row.read()) };
}

/** The frame of a form: name of the file, parts, saving. */
function form(kind, title, name, parts, closed) {
  const file = field("file", "File name", "text", name || `new-${kind}.toml`);
  const said = h("p", { class: "wrong", role: "alert" });
  const all = () => [file, ...parts.flatMap((part) => part.all?.() ?? part.fields)];
  async function save() {
    all().forEach((f) => f.complain(""));
    said.textContent = "";
    const fields = {};
    for (const part of parts) Object.assign(fields, part.take());
    try {
      await post("/api/form/write", { name: file.read() ?? "", kind, fields, over: file.read() === name });
      closed();
    } catch (error) {
      if (!(error instanceof Mistake)) throw error;
      const named = all().filter((f) => error.message.includes(f.key) || error.message.includes(f.key.replace(/_(deg|lb|in|mph|rpm|board)$/, "").replaceAll("_", " ")));
      const best = named.sort((a, b) => b.key.length - a.key.length)[0];
      if (best && named.filter((f) => f.key === best.key).length === 1) best.complain(error.message);
      else said.textContent = error.message;
    }
  }
  return h("form", { onsubmit: (event) => { event.preventDefault(); save(); } }, h("h2", {}, title),
    h("div", { class: "fields four" }, file.element), parts.map((part) => [part.title ? h("h3", {}, part.title) : null, part.element]),
    said, h("p", { class: "row" }, h("button", { type: "submit" }, "Write the file"),
      h("button", { type: "button", class: "plain", onclick: closed }, "Close without writing"),
      name ? h("span", { class: "faint" }, "The former version is kept; comments in it are not taken over.") : null));
}

/** Fill a place with a form, once the file is read. */
function later(kind, name, made) {
  const place = h("div", {}, h("p", { class: "faint" }, "reading"));
  (name ? post("/api/form/read", { name, kind }).then((found) => found.fields) : Promise.resolve(null))
    .then((fields) => fill(place, made(fields)))
    .catch((error) => fill(place, h("p", { class: "wrong", role: "alert" }, error.message)));
  return place;
}

const part = (title, made, key) => ({ title, element: made.element, fields: made.fields, all: made.all,
  take: () => (key ? { [key]: made.read() } : made.read()) });
const withNone = (options, words = "none") => [["", words], ...options];
const specs = (options) => options.map((o) => [o.value, o.hint ? `${o.label} (${o.hint})` : o.label]);

export const editPlayer = (name, closed) => later("player", name, (fields) => {
  const shot = state.shot;
  const values = fields || { name: "me", hand: shot.hand, level: shot.level, speed_mph: shot.speed_mph, rev_rpm: shot.rev_rpm,
    rotation_deg: shot.rotation_deg, tilt_deg: shot.tilt_deg, laydown_board: shot.laydown_board,
    launch_angle_deg: Math.round(100 * (state.quick?.launch_angle_deg ?? -1.5)) / 100 };
  return form("player", "A player", name, [
    part("", block([["name", "Name", "text"], ["hand", "Hand", [["right", "right-handed"], ["left", "left-handed"]]],
      ["speed_mph", "Speed [mph]", "number"], ["rev_rpm", "Rev rate [rpm]", "number"], ["rotation_deg", "Axis rotation [deg]", "number"],
      ["tilt_deg", "Axis tilt [deg]", "number"], ["laydown_board", "Laydown board", "number"],
      ["launch_angle_deg", "Launch angle [deg]", "number"], ["level", "Repeats like", state.start.levels.map((l) => [l, l])]], values)),
    ...(fields && Object.keys(fields.spread).length ? [{ title: "", element: h("p", { class: "faint" },
      `Its own spread stays: ${Object.entries(fields.spread).map(([k, v]) => `${k} ${v}`).join(", ")}`), fields: [],
    take: () => ({ spread: fields.spread, spread_source: fields.spread_source }) }] : []),
  ], closed);
});

const COVERS = ["reactive-solid", "reactive-hybrid", "reactive-pearl", "urethane", "plastic"].map((c) => [c, c]);
const BALL = [["key", "Short name", "text"], ["title", "What it is", "text"], ["weight_lb", "Weight [lb]", "number"], ["rg_in", "RG [in]", "number"],
  ["diff_in", "Differential [in]", "number"], ["int_diff_in", "Intermediate diff. [in]", "number"], ["cover", "Cover", COVERS],
  ["finish", "Finish (grit or polish)", "text"], ["games_since_surface", "Games on this finish", "number"], ["games_total", "Games in all", "number"],
  ["drilling_deg", "Drilling angle [deg]", "number"], ["pin_to_pap_in", "Pin to PAP [in]", "number"], ["val_deg", "VAL angle [deg]", "number"],
  ["grip", "Grip file", "text"], ["note", "Note", "text"]];

export const editBalls = (name, closed) => later("balls", name, (fields) => {
  const values = Object.entries(fields || {}).map(([key, ball]) => ({ key, ...ball }));
  const blank = () => ({ key: "", weight_lb: 15, rg_in: 2.5, diff_in: 0.045, int_diff_in: 0, cover: "reactive-solid", finish: "2000",
    drilling_deg: 50, pin_to_pap_in: 4.5, val_deg: 35 });
  const rows = blocks("ball", BALL, fields ? values : [blank()], blank);
  const kept = new Map(values.map((ball) => [ball.key, ball.oil_extractions]));
  return form("balls", "Balls", name, [{ title: "", element: rows.element, all: rows.all,
    take: () => Object.fromEntries(rows.read().map(({ key, ...ball }) => [key ?? "",
      kept.get(key) ? { ...ball, oil_extractions: kept.get(key) } : ball])) }], closed);
});

export const editEvent = (name, closed) => later("event", name, (fields) => {
  const patterns = specs(patternOptions());
  const balls = specs(ballOptions());
  const players = filesOf("player").map((file) => [file, file]);
  const values = fields || { name: "my-event", player: players[0]?.[0], maximise: "mean", finish_games: 3, limits: { finish_changes: "before" },
    lanes: { players: 2, lanes: 2, apart_boards: 1, their_ball: "strong-solid", follow: true },
    round: [{ name: "Round 1", pattern: "medium-42", games: 3 }], ball: [{ ball: balls[0][0], place: "home" }] };
  const rounds = blocks("round", [["name", "Name", "text"], ["pattern", "Oil", patterns], ["games", "Games", "whole"], ["weight", "Counts", "number"],
    ["games_before", "Games before", "whole"], ["stages", "Looked at after games", "wholes"]], values.round, () => ({ name: "", pattern: "medium-42", games: 3, weight: 1 }));
  const slots = blocks("ball", [["ball", "Ball", balls], ["place", "Where it is", [["home", "at home"], ["venue", "at the venue"], ["new", "to be bought"]]],
    ["required", "Must come along", [["", "as usual"], ["yes", "yes"], ["no", "no"]]], ["drill_anew", "May be drilled anew", "tick"], ["spares_only", "For spares only", "tick"],
    ["layouts", "Own layouts (; between)", "list"], ["finishes", "Own finishes (; between)", "list"], ["note", "Note", "text"]],
  values.ball.map((b) => ({ ...b, required: b.required === true ? "yes" : b.required === false ? "no" : "" })), () => ({ ball: balls[0][0], place: "home" }));
  const own = new Set(values.ball.filter((b) => b.finishes && !b.finishes.length).map((b) => b.ball));
  const clean = (slot) => {
    const { required, layouts, finishes, ...rest } = slot;
    if (required) rest.required = required === "yes";
    if (layouts.length) rest.layouts = layouts;
    if (finishes.length || own.has(slot.ball)) rest.finishes = finishes;
    return rest;
  };
  return form("event", "An event", name, [
    part("", block([["name", "Short name", "text"], ["title", "Title", "text"], ["player", "Player file", players.length ? players : withNone([], "make a player first")],
      ["fitted", "Fitted values", withNone(filesOf("fitted").map((f) => [f, f]))],
      ["maximise", "Choose for", [["mean", "most pins a game"], ["worst", "the worst condition"], ["cut", "reaching a total"]]], ["cut", "Total to reach [pins]", "number"],
      ["finish_games", "Games on a fresh finish", "number"], ["layouts", "Layouts to drill (; between)", "list"], ["finishes", "Finishes to put on (; between)", "list"]], values)),
    part("Limits (empty: none)", block([["registered", "Balls in all", "whole"], ["carried", "Balls that travel", "whole"], ["bag_weight_lb", "Bag, packed [lb]", "number"],
      ["case_lb", "Empty bag [lb]", "number"], ["drilled", "Balls to drill", "whole"], ["finish_changes", "Finishes change", [["none", "never"], ["before", "before the event"], ["between", "also between rounds"]]]], values.limits), "limits"),
    part("Who else is on the lanes", block([["players", "Players", "whole"], ["lanes", "Lanes", "whole"], ["apart_boards", "Boards between them", "number"],
      ["their_ball", "They throw", balls], ["my_ball", "You are taken to throw", "text"], ["follow", "All move with the oil", "tick"]], values.lanes), "lanes"),
    { title: "Rounds", element: rounds.element, all: rounds.all, take: () => ({ round: rounds.read() }) },
    { title: "Balls that may come along", element: slots.element, all: slots.all, take: () => ({ ball: slots.read().map(clean) }) },
  ], closed);
});
