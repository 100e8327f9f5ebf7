// The ball itself, seen from behind and a little above: pin, PAP, axis, and the rings of oil that
// grow on it as it turns.

import { between, lie, moment, turned } from "./turning.js";

const RISE = 0.42; // how far above the lane the eye is [rad]
const [SIN, COS] = [Math.sin(RISE), Math.cos(RISE)];
// Marks without meaning, so that turning shows: fixed places on the cover.
const SPECKS = Array.from({ length: 46 }, (_, n) => {
  const z = 1 - (2 * n + 1) / 46;
  const around = n * 2.39996;
  const r = Math.sqrt(1 - z * z);
  return [r * Math.cos(around), r * Math.sin(around), z];
});

export class BallView {
  constructor(canvas) {
    this.canvas = canvas;
    this.full = null;
    this.time = 0;
    this.hand = "right";
    this.waiting = false;
    new ResizeObserver(() => this.draw()).observe(canvas);
  }

  show(full, hand, time) {
    if (full !== this.full) this.rings = full ? smooth(full.track) : null;
    Object.assign(this, { full, hand, time });
    this.draw();
  }

  draw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => { this.waiting = false; this.drawNow(); });
  }

  /** Place on the picture of a vector on the lane: right, up, toward the eye. */
  seen([x, y, z]) {
    const side = this.hand === "left" ? y : -y;
    return [side, SIN * x + COS * z, -COS * x + SIN * z];
  }

  drawNow() {
    const scale = window.devicePixelRatio || 1;
    const size = Math.min(this.canvas.clientWidth, this.canvas.clientHeight);
    if (!size) return;
    this.canvas.width = this.canvas.clientWidth * scale;
    this.canvas.height = this.canvas.clientHeight * scale;
    const pen = this.canvas.getContext("2d");
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    const [cx, cy] = [this.canvas.clientWidth / 2, this.canvas.clientHeight / 2];
    const radius = size / 2 - 20;
    const light = pen.createRadialGradient(cx - radius / 3, cy - radius / 2, radius / 8, cx, cy, radius);
    light.addColorStop(0, "#56698f");
    light.addColorStop(0.55, "#26375c");
    light.addColorStop(1, "#10192e");
    pen.beginPath();
    pen.ellipse(cx, cy + radius * 0.97, radius * 0.8, radius * 0.12, 0, 0, 7);
    pen.fillStyle = "rgba(0,0,0,.22)";
    pen.fill();
    pen.beginPath();
    pen.arc(cx, cy, radius, 0, 7);
    pen.fillStyle = light;
    pen.fill();
    if (!this.full) return;
    const now = moment(this.full, this.time);
    const way = lie(this.full, now);
    const put = (vector) => {
      const [right, up, near] = this.seen(vector);
      return [cx + radius * right, cy - radius * up, near];
    };
    for (const speck of SPECKS) {
      const [x, y, near] = put(turned(way, speck));
      if (near <= 0) continue;
      pen.beginPath();
      pen.arc(x, y, radius * 0.045 * near + 0.5, 0, 7);
      pen.fillStyle = `rgba(150,178,220,${0.12 + 0.3 * near})`;
      pen.fill();
    }
    this.drawRings(pen, put, way, now);
    this.drawAxis(pen, put, now, radius);
    dot(pen, put(turned(way, this.full.pin)), "#f2c14e", "pin", radius);
    dot(pen, put(turned(way, this.full.pap)), "#7fd1c4", "PAP", radius);
  }

  drawRings(pen, put, way, now) {
    const film = this.full.track_film_um;
    const steps = this.rings.length / Math.max(1, film.length - 1);
    const last = Math.floor((now.n + now.share) * steps);
    let before = null;
    pen.lineWidth = 2.2;
    pen.lineCap = "round";
    for (let n = 0; n <= Math.min(last, this.rings.length - 1); n++) {
      const here = put(turned(way, this.rings[n]));
      if (before && (here[2] > 0 || before[2] > 0)) {
        const oil = film[Math.min(film.length - 1, Math.floor(n / steps))];
        pen.strokeStyle = `rgba(214,178,226,${Math.min(0.95, 0.25 + oil / 1.2)})`;
        pen.beginPath();
        pen.moveTo(before[0], before[1]);
        pen.lineTo(here[0], here[1]);
        pen.stroke();
      }
      before = here;
    }
  }

  drawAxis(pen, put, now, radius) {
    const axis = [0, 1, 2].map((k) => between(this.full.axis[k], now));
    const [x, y, near] = put(axis);
    const [ex, ey] = put(axis.map((v) => 1.16 * v));
    if (near < -0.2) return;
    pen.lineWidth = 3;
    pen.strokeStyle = "#e8e4da";
    pen.beginPath();
    pen.moveTo(x, y);
    pen.lineTo(ex, ey);
    pen.stroke();
    pen.beginPath();
    pen.arc(x, y, radius * 0.035, 0, 7);
    pen.fillStyle = "#e8e4da";
    pen.fill();
  }
}

function dot(pen, [x, y, near], color, words, radius) {
  if (near <= 0) return;
  pen.beginPath();
  pen.arc(x, y, radius * 0.07, 0, 7);
  pen.fillStyle = color;
  pen.fill();
  pen.lineWidth = 1.5;
  pen.strokeStyle = "#10192e";
  pen.stroke();
  pen.font = "600 11px system-ui, sans-serif";
  pen.fillStyle = "#fff";
  pen.textAlign = "left";
  pen.textBaseline = "middle";
  pen.fillText(words, x + radius * 0.1, y);
}

/** Five points for each sample of the track, on a smooth curve through them, on the ball. */
function smooth(track) {
  const out = [];
  for (let n = 0; n + 1 < track.length; n++) {
    const [a, b, c, d] = [track[Math.max(0, n - 1)], track[n], track[n + 1],
      track[Math.min(track.length - 1, n + 2)]];
    for (let k = 0; k < 5; k++) {
      const s = k / 5;
      const point = [0, 1, 2].map((i) => 0.5 * (2 * b[i] + (c[i] - a[i]) * s
        + (2 * a[i] - 5 * b[i] + 4 * c[i] - d[i]) * s * s
        + (3 * b[i] - a[i] - 3 * c[i] + d[i]) * s ** 3));
      const length = Math.hypot(...point);
      out.push(point.map((v) => v / length));
    }
  }
  return out;
}
