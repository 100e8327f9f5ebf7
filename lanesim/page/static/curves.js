// Curves against distance: slip, friction, rotation, speed and more, one small panel each. A line
// across all of them joins them to the ball on the lane.

import { h, num } from "./dom.js";
import { moment, between } from "./turning.js";

export const PANELS = [
  { key: "slip_ms", words: "Slip", unit: "m/s", decimals: 2, from: 0 },
  { key: "friction", words: "Friction", unit: "", decimals: 3, from: 0 },
  { key: "rotation_deg", words: "Axis rotation", unit: "deg", decimals: 0 },
  { key: "speed_mph", words: "Speed", unit: "mph", decimals: 1 },
  { key: "rev_rpm", words: "Rev rate", unit: "rpm", decimals: 0 },
  { key: "film_um", words: "Oil under it", unit: "µm", decimals: 1, from: 0 },
];

const FEET = 60;

/** A colour light enough to be read on the dark page. */
export function readable(color, dark) {
  if (!dark) return color;
  const parts = [1, 3, 5].map((n) => parseInt(color.slice(n, n + 2), 16));
  const light = (0.3 * parts[0] + 0.59 * parts[1] + 0.11 * parts[2]) / 255;
  const mix = Math.max(0, 0.75 - light);
  return `rgb(${parts.map((p) => Math.round(p + (255 - p) * mix)).join(",")})`;
}

export const isDark = () => matchMedia("(prefers-color-scheme: dark)").matches;

/** Panels of curves. `point(ft)` is told when somebody points at a distance. */
export class Curves {
  constructor(series, point, panels = PANELS) {
    this.series = series;
    this.shots = []; // {full, slot}
    this.time = null;
    this.panels = panels.map((panel) => {
      const canvas = h("canvas", { role: "img", class: "curve" });
      const value = h("output", { class: "value" });
      const unit = panel.unit ? ` [${panel.unit}]` : "";
      const figure = h("figure", { class: "panel" },
        h("figcaption", {}, h("span", {}, panel.words, h("small", {}, unit)), value), canvas);
      const tell = (event) => {
        const box = canvas.getBoundingClientRect();
        point(Math.min(FEET, Math.max(0, (event.clientX - box.left - 34) / (box.width - 40) * FEET)));
      };
      canvas.addEventListener("pointerdown", tell);
      canvas.addEventListener("pointermove", (event) => { if (event.buttons) tell(event); });
      new ResizeObserver(() => this.draw()).observe(canvas);
      return { ...panel, canvas, value, figure };
    });
    this.element = h("div", { class: "panels" }, this.panels.map((p) => p.figure));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
  }

  show(shots, time) {
    this.shots = shots;
    this.time = time;
    this.draw();
  }

  draw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => { this.waiting = false; this.panels.forEach((p) => this.drawPanel(p)); });
  }

  drawPanel(panel) {
    const { canvas } = panel;
    const [width, height, scale] = [canvas.clientWidth, canvas.clientHeight, devicePixelRatio || 1];
    if (!width || !height) return;
    canvas.width = width * scale;
    canvas.height = height * scale;
    const pen = canvas.getContext("2d");
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    const ink = getComputedStyle(canvas).color;
    const all = this.shots.flatMap((shot) => shot.full[panel.key]).filter((v) => v !== null);
    const [low, high] = range(all, panel.from);
    const x = (ft) => 34 + (ft / FEET) * (width - 40);
    const y = (value) => height - 16 - ((value - low) / (high - low)) * (height - 24);
    pen.font = "10px system-ui, sans-serif";
    pen.fillStyle = ink;
    pen.strokeStyle = ink;
    pen.textBaseline = "middle";
    pen.textAlign = "right";
    for (const value of ticks(low, high)) {
      pen.globalAlpha = 0.16;
      line(pen, [[34, y(value)], [width - 6, y(value)]], 1);
      pen.globalAlpha = 1;
      pen.fillText(trim(value), 30, y(value));
    }
    pen.textAlign = "center";
    pen.textBaseline = "alphabetic";
    for (const ft of [0, 20, 40, 60]) pen.fillText(ft === 60 ? "60 ft" : String(ft), x(ft) - (ft === 60 ? 8 : 0), height - 3);
    const dark = isDark();
    for (const { full, slot } of this.shots) {
      const style = this.series[slot];
      pen.strokeStyle = readable(style.color, dark);
      pen.setLineDash(style.dash.map((d) => 1.6 * d));
      line(pen, full.x_ft.map((ft, n) => [x(Math.min(ft, FEET)), y(full[panel.key][n] ?? low)]), 2);
      pen.setLineDash([]);
    }
    panel.value.textContent = "";
    const first = this.shots[0];
    if (first) {
      const now = moment(first.full, this.time ?? first.full.t_s.at(-1));
      if (this.time !== null) {
        const at = x(Math.min(FEET, between(first.full.x_ft, now)));
        pen.strokeStyle = ink;
        line(pen, [[at, 4], [at, height - 16]], 1);
      }
      const unit = panel.unit ? ` ${panel.unit}` : "";
      panel.value.textContent = num(between(first.full[panel.key], now), panel.decimals) + unit;
      canvas.setAttribute("aria-label", `${panel.words} along the lane: `
        + `${num(first.full[panel.key][0], panel.decimals)}${unit} at the foul line, `
        + `${num(first.full[panel.key].at(-1), panel.decimals)}${unit} at the end`);
    }
  }
}

export function line(pen, points, width) {
  pen.lineWidth = width;
  pen.beginPath();
  points.forEach((point, n) => pen[n ? "lineTo" : "moveTo"](...point));
  pen.stroke();
}

export function range(values, from) {
  if (!values.length) return [0, 1];
  let low = Math.min(...values);
  let high = Math.max(...values);
  if (from !== undefined) low = Math.min(from, low);
  if (high - low < 1e-6) { low -= 0.5; high += 0.5; }
  const room = 0.06 * (high - low);
  return [from !== undefined && low >= from ? low : low - room, high + room];
}

export function ticks(low, high, about = 4) {
  const raw = (high - low) / about;
  const unit = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].find((m) => m * unit >= raw) * unit;
  const out = [];
  for (let v = Math.ceil(low / step) * step; v <= high + 1e-9; v += step) out.push(v);
  return out;
}

const trim = (value) => String(Number(value.toFixed(3))).replace("-", "−");
