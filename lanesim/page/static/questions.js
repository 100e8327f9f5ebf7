// The questions, in the order of the list. Each shows itself in the answer's place and returns what
// to do when another one is asked.

import * as bag from "./q_bag.js";
import * as compare from "./q_compare.js";
import * as games from "./q_games.js";
import * as shot from "./q_shot.js";
import * as shots from "./q_shots.js";
import * as spares from "./q_spares.js";
import * as stand from "./q_stand.js";

export const QUESTIONS = [shot, compare, stand, shots, games, spares, bag];
