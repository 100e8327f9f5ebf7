// The questions, in the order of the list. Each shows itself in the answer's place and returns what
// to do when another one is asked.

import * as shot from "./q_shot.js";

export const QUESTIONS = [shot];
