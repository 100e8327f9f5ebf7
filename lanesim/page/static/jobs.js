// Long questions: start one, see how far it is, stop it, find it again.

import { get, Mistake, post } from "./api.js";
import { fill, h, later } from "./dom.js";
import { on } from "./state.js";

/**
 * The place of one long question.
 * study: its name; asked(): what is asked, or null; show(answer, key): elements of the answer;
 * part(part, asked): told of what is there already; words: what the button says;
 * auto: start by itself.
 */
export function jobPlace({ study, asked, show, part = null, words = "Work it out", auto = false }) {
  let job = null;
  let current = "";
  let shownKey = "";
  const wrong = h("p", { class: "wrong", role: "alert" });
  const start = h("button", { type: "button", onclick: () => ask(true) }, words);
  const stop = h("button", { type: "button", class: "plain", onclick: cancel }, "Stop it");
  const bar = h("progress", { max: "1", "aria-label": "How far it is" });
  const status = h("span", { role: "status", class: "faint" });
  const line = h("p", { class: "row job noprint" }, start, stop, bar, status);
  const place = h("div", { class: "answerplace" });
  const element = h("div", {}, line, wrong, place);

  async function ask(go) {
    const what = asked();
    const text = JSON.stringify(what);
    if (what === null) { job = null; show_(); return; }
    if (text !== current) { current = text; place.classList.add("old"); }
    try {
      const found = await post(`/api/study/${study}`, { asked: what, start: go });
      if (text !== current) return;
      wrong.textContent = "";
      for (const one of found.parts || []) part?.(one, what);
      take(found);
    } catch (error) {
      if (!(error instanceof Mistake)) throw error;
      wrong.textContent = error.message;
      job = null;
      show_();
    }
  }

  async function take(found) {
    job = found;
    show_();
    if (found.state === "failed") wrong.textContent = found.error;
    if (found.state !== "done") return;
    if (shownKey === found.id) { place.classList.remove("old"); return; }
    try {
      const answer = await get(`/api/result/${found.id}`);
      if (job?.id !== found.id) return;
      shownKey = found.id;
      place.classList.remove("old");
      fill(place, show(answer, found.id));
    } catch (error) {
      if (!(error instanceof Mistake)) throw error;
      wrong.textContent = error.message;
    }
  }

  async function cancel() {
    try { await post("/api/stop", { id: job.id }); } catch (error) { wrong.textContent = error.message; }
  }

  function show_() {
    const state = job?.state ?? "none";
    const busy = state === "running" || state === "waiting";
    start.hidden = busy || state === "done" || asked() === null;
    stop.hidden = bar.hidden = !busy;
    if (busy && job.total > 0) bar.value = job.done / job.total; else bar.removeAttribute("value");
    status.textContent = !busy ? (state === "stopped" ? "stopped" : "") : state === "waiting"
      ? "waits for another question to be answered" : [job.words, left(job)].filter(Boolean).join("; ");
    line.hidden = start.hidden && !busy && !status.textContent;
  }

  const look = later(() => ask(auto), 250);
  const off = [
    on("job", (one) => { if (job && one.id === job.id) take(one); }),
    on("jobs", () => ask(false)),
    on("part", ({ id, part: one }) => { if (part && job && id === job.id) part(one, asked()); }),
    on("files", () => { current = ""; look(); }),
  ];
  show_();
  ask(auto);
  return { element, look, off: () => off.forEach((stopIt) => stopIt()) };
}

/** How long it still takes, in words. */
function left(job) {
  if (job.left_s === null || job.left_s === undefined) return "";
  const s = job.left_s;
  if (s < 8) return "a few seconds left";
  return s < 90 ? `about ${Math.round(s / 5) * 5} s left` : `about ${Math.round(s / 60)} min left`;
}
