// What is looked at: the question, the shot, the kept shots. All of it stands in the address.

const TEXTS = ["ball", "finish", "layout", "pattern", "hand", "level", "player", "fitted"];
const NUMBERS = ["speed_mph", "rev_rpm", "rotation_deg", "tilt_deg", "laydown_board", "target_board"];
const ORDER = [...TEXTS, ...NUMBERS];
export const SPREAD_KEYS = ["level", "player"];

const listeners = new Map();

export const state = {
  question: "shot",
  shot: {},
  kept: [],
  choice: {},   // what a question was asked with, by its own names
  start: null,  // what the server gave at the beginning
  quick: null,  // the shot's path, by the engine of all studies
  full: null,   // the shot in full
  pattern: null,
  time: null,   // where the ball is in the shot [s], null: at the foul line
};

/** Be told when something of that name changes. */
export function on(name, listen) {
  if (!listeners.has(name)) listeners.set(name, new Set());
  listeners.get(name).add(listen);
  return () => listeners.get(name).delete(listen);
}

export function tell(name, ...about) {
  for (const listen of [...(listeners.get(name) || [])]) listen(...about);
}

/** The shot without what only its spread needs: what one throw takes. */
export const single = (shot) => Object.fromEntries(
  Object.entries(shot).filter(([key]) => !SPREAD_KEYS.includes(key)));

/** Change the shot; `at` is when the hand moved, for measuring how soon it shows. */
export function setShot(change, at = performance.now()) {
  state.shot = { ...state.shot, ...change };
  tell("shot", change, at);
  remember();
}

export function setQuestion(question) {
  if (question === state.question) return;
  state.question = question;
  history.pushState(null, "", address());
  tell("question");
}

export function setChoice(change) {
  state.choice = { ...state.choice, ...change };
  tell("choice", change);
  remember();
}

export function keep(shot) {
  const most = state.start.series.length - 1; // one style is left for the shot on the lane
  if (state.kept.length >= most) return false;
  state.kept = [...state.kept, { ...shot }];
  tell("kept");
  remember();
  return true;
}

export function drop(index) {
  state.kept = state.kept.filter((_, n) => n !== index);
  tell("kept");
  remember();
}

const packed = (shot) => ORDER.map((key) => encodeURIComponent(shot[key] ?? "")).join("~");

function unpacked(text) {
  const parts = text.split("~");
  if (parts.length !== ORDER.length) return null;
  const shot = {};
  ORDER.forEach((key, n) => {
    const value = decodeURIComponent(parts[n]);
    shot[key] = NUMBERS.includes(key) ? Number(value) : value;
  });
  return NUMBERS.every((key) => Number.isFinite(shot[key])) ? shot : null;
}

/** The whole view as an address. */
export function address() {
  const words = new URLSearchParams();
  words.set("q", state.question);
  for (const key of ORDER) {
    const value = state.shot[key];
    if (value !== "" && value !== undefined) {
      words.set(key, typeof value === "number" ? String(Math.round(value * 1000) / 1000) : value);
    }
  }
  for (const shot of state.kept) words.append("kept", packed(shot));
  for (const [key, value] of Object.entries(state.choice)) {
    if (value !== "" && value !== undefined) words.set(`c.${key}`, String(value));
  }
  return `#${words}`;
}

let timer = 0;
function remember() {
  clearTimeout(timer);
  timer = setTimeout(() => history.replaceState(null, "", address()), 200);
}

/** Take the view from the address; what it does not say comes from `first`. */
export function fromAddress(first) {
  const words = new URLSearchParams(location.hash.slice(1));
  state.question = words.get("q") || "shot";
  const shot = { ...first };
  for (const key of TEXTS) if (words.has(key)) shot[key] = words.get(key).slice(0, 200);
  for (const key of NUMBERS) {
    const value = Number(words.get(key));
    if (words.has(key) && Number.isFinite(value)) shot[key] = value;
  }
  state.shot = shot;
  state.kept = words.getAll("kept").map(unpacked).filter(Boolean).slice(0, state.start.series.length - 1);
  state.choice = {};
  for (const [key, value] of words) {
    if (key.startsWith("c.")) state.choice[key.slice(2)] = value.slice(0, 200);
  }
}
