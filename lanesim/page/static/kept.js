// The kept shots: their paths for the lane, and the shots in full for the curves.

import { post } from "./api.js";
import { on, single, state, tell } from "./state.js";

const quick = new Map();
const full = new Map();
const name = (shot) => JSON.stringify(single(shot));

async function fetchInto(map, path, shot, done) {
  const key = name(shot);
  if (map.has(key)) return;
  map.set(key, null); // on its way
  try {
    map.set(key, await post(path, single(shot)));
    done();
  } catch {
    map.delete(key);
  }
}

/** Follow the kept shots: ask for what is not there yet. */
export function followKept() {
  const ask = () => state.kept.forEach((shot) =>
    fetchInto(quick, "/api/quick", shot, () => tell("draw")));
  on("kept", ask);
  on("files", () => { quick.clear(); full.clear(); ask(); });
  ask();
}

/** Paths of the kept shots, as the lane draws them. */
export const keptPaths = () => state.kept.map((shot, slot) => [quick.get(name(shot)), slot])
  .filter(([path]) => path).map(([path, slot]) => ({ ...path, slot, faint: true }));

/** The kept shots in full, as far as they are there; `done` is told when one comes. */
export function keptFull(done) {
  return state.kept.map((shot, slot) => {
    fetchInto(full, "/api/shot", shot, done);
    return { shot, slot, full: full.get(name(shot)) };
  });
}

/** What to call a shot in few words. */
export function shotWords(shot) {
  const ball = shot.ball.split(":").at(-1);
  const more = [shot.finish && (shot.finish === "polish" ? "polished" : `${shot.finish} grit`), shot.layout]
    .filter(Boolean).join(", ");
  return `${ball}${more ? ` (${more})` : ""} on ${shot.pattern.replace(/\.oil$/, "")}`;
}
