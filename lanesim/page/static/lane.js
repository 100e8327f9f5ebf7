// The lane as a picture: foul line at the left, pins at the right, the oil as film on the wood.
// A class of its own, so that a notebook can show the same lane. It draws; it computes no motion.

const WOOD = ["#efe5d2", "#eadfc9"];
const INK = "#1c2230";

export class LaneView {
  /** canvas: where; given: {lane, series, scale} as the server describes them. */
  constructor(canvas, given) {
    this.canvas = canvas;
    this.lane = given.lane;
    this.series = given.series;
    this.oil = given.scale.oil;
    this.hand = "right";
    this.pattern = null;
    this.paths = [];     // {board: [], end: [ft, board], slot, faint}
    this.corridor = null; // {low: [], high: []} by whole feet
    this.ball = null;    // {ft, board}
    this.aim = null;     // {laydown, target}
    this.ground = null;
    this.drawn = () => {};
    this.waiting = false;
    new ResizeObserver(() => this.resize()).observe(canvas);
    this.resize();
  }

  resize() {
    const scale = window.devicePixelRatio || 1;
    this.width = this.canvas.clientWidth;
    this.height = this.canvas.clientHeight;
    this.canvas.width = Math.round(this.width * scale);
    this.canvas.height = Math.round(this.height * scale);
    this.scale = scale;
    this.narrow = this.width < 600;
    this.left = this.narrow ? 30 : 44;
    this.right = this.narrow ? 12 : 20;
    this.top = 10;
    this.bottom = 20;
    this.ground = null;
    this.draw();
    this.canvas.dispatchEvent(new CustomEvent("placed"));
  }

  /** Pixels from the left of a distance [ft], and from the top of a player's board. */
  x(ft) { return this.left + (ft / this.lane.feet) * (this.width - this.left - this.right); }

  y(board) { return this.yRight(this.hand === "left" ? this.lane.boards + 1 - board : board); }

  yRight(board) {
    const high = this.height - this.top - this.bottom;
    return this.top + (1 - (board - 0.5) / this.lane.boards) * high;
  }

  /** The player's board at so many pixels from the top. */
  boardAt(y) {
    const high = this.height - this.top - this.bottom;
    const board = (1 - (y - this.top) / high) * this.lane.boards + 0.5;
    return this.hand === "left" ? this.lane.boards + 1 - board : board;
  }

  arrowFt(board) {
    const feet = this.lane.arrow_ft;
    const at = Math.min(Math.max(board, 1), feet.length) - 1;
    const n = Math.min(Math.floor(at), feet.length - 2);
    return feet[n] + (at - n) * (feet[n + 1] - feet[n]);
  }

  setPattern(pattern) { this.pattern = pattern; this.ground = null; this.draw(); }

  setHand(hand) { if (hand !== this.hand) { this.hand = hand; this.ground = null; this.draw(); } }

  /** Draw at the next frame. */
  draw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => { this.waiting = false; this.drawNow(); this.drawn(); });
  }

  drawNow() {
    if (!this.width || !this.height) return;
    const pen = this.canvas.getContext("2d");
    if (!this.ground) this.ground = this.drawGround();
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.clearRect(0, 0, this.canvas.width, this.canvas.height);
    pen.drawImage(this.ground, 0, 0);
    pen.setTransform(this.scale, 0, 0, this.scale, 0, 0);
    if (this.corridor) this.drawCorridor(pen);
    for (const path of this.paths) this.drawPath(pen, path);
    if (this.aim) this.drawAim(pen);
    if (this.ball) this.drawBall(pen, this.ball.ft, this.ball.board, this.ball.slot ?? 0);
  }

  drawGround() {
    const sheet = document.createElement("canvas");
    sheet.width = this.canvas.width;
    sheet.height = this.canvas.height;
    const pen = sheet.getContext("2d");
    pen.setTransform(this.scale, 0, 0, this.scale, 0, 0);
    const [left, right] = [this.x(0), this.x(this.lane.feet)];
    const [top, low] = [this.yRight(39.5), this.yRight(0.5)];
    pen.fillStyle = "#57534a"; // gutters
    pen.fillRect(left, top - 6, right - left, low - top + 12);
    for (let board = 1; board <= this.lane.boards; board++) {
      pen.fillStyle = WOOD[board % 2];
      const y = this.yRight(board + 0.5);
      pen.fillRect(left, y, right - left, this.yRight(board - 0.5) - y + 0.5);
    }
    pen.fillStyle = "#e3d7bd"; // the end of the approach
    pen.fillRect(0, top - 6, left, low - top + 12);
    if (this.pattern) this.drawFilm(pen, left, top, low);
    this.drawMarks(pen, left, top, low);
    return sheet;
  }

  drawFilm(pen, left, top, low) {
    const film = this.pattern.film_um;
    const [feet, boards] = [film.length, film[0].length];
    const image = new ImageData(feet, boards);
    const most = 12; // micrometres at which the film is as dark as it gets
    const colors = this.oil.map((c) => [1, 3, 5].map((n) => parseInt(c.slice(n, n + 2), 16)));
    for (let foot = 0; foot < feet; foot++) {
      for (let board = 0; board < boards; board++) {
        const share = Math.min(1, film[foot][board] / most);
        const color = colors[Math.round(share ** 0.8 * (colors.length - 1))];
        const at = 4 * ((boards - 1 - board) * feet + foot);
        image.data.set([...color, Math.round(255 * Math.min(0.92, 2.2 * share ** 0.7))], at);
      }
    }
    const small = document.createElement("canvas");
    small.width = feet;
    small.height = boards;
    small.getContext("2d").putImageData(image, 0, 0);
    pen.imageSmoothingEnabled = true;
    pen.imageSmoothingQuality = "high";
    pen.drawImage(small, left, top, this.x(feet) - left, low - top);
    // the light of the hall on the wet part of the lane
    const end = this.x(this.pattern.length_ft);
    const shine = pen.createLinearGradient(left, top, left, low);
    for (const [at, alpha] of [[0, 0.02], [0.28, 0.16], [0.36, 0.05], [0.7, 0.1], [1, 0]]) {
      shine.addColorStop(at, `rgba(255,255,255,${alpha})`);
    }
    pen.fillStyle = shine;
    pen.fillRect(left, top, end - left, low - top);
    pen.strokeStyle = "rgba(60,40,80,.55)";
    pen.setLineDash([2, 3]);
    pen.beginPath();
    pen.moveTo(end, top);
    pen.lineTo(end, low);
    pen.stroke();
    pen.setLineDash([]);
  }

  drawMarks(pen, left, top, low) {
    pen.fillStyle = INK;
    pen.fillRect(left - 2, top - 6, 3, low - top + 12); // the foul line
    for (const [board, ft] of this.lane.arrows) {
      const [x, y] = [this.x(ft), this.yRight(board)];
      pen.fillStyle = "rgba(122,82,48,.75)";
      pen.beginPath();
      pen.moveTo(x + 6, y);
      pen.lineTo(x - 6, y - 3.2);
      pen.lineTo(x - 6, y + 3.2);
      pen.fill();
    }
    const radius = Math.max(3, 0.62 * this.lane.pin_boards * (low - top) / this.lane.boards);
    for (const [pin, ft, board] of this.lane.pins) {
      const [x, y] = [this.x(ft), this.yRight(board)];
      pen.beginPath();
      pen.arc(x, y, radius, 0, 7);
      pen.fillStyle = "#fff";
      pen.fill();
      pen.lineWidth = pin === 1 ? 2 : 1.2;
      pen.strokeStyle = pin === 1 ? "#b0402c" : INK;
      pen.stroke();
    }
    const ink = getComputedStyle(this.canvas).color;
    pen.font = `${this.narrow ? 10 : 11}px system-ui, sans-serif`;
    pen.textBaseline = "middle";
    pen.textAlign = "right";
    for (let board = 5; board <= 35; board += this.narrow ? 10 : 5) {
      pen.fillStyle = "#4a4434";
      pen.fillText(String(board), left - (this.narrow ? 14 : 20), this.y(board));
    }
    pen.fillStyle = ink;
    pen.textAlign = "center";
    pen.textBaseline = "alphabetic";
    const end = this.pattern ? this.pattern.length_ft : -9;
    for (let ft = 10; ft <= 60; ft += this.narrow ? 20 : 10) {
      if (Math.abs(ft - end) > 3.5) pen.fillText(`${ft} ft`, this.x(ft), this.height - 5);
    }
    if (end > 0) {
      pen.font = `600 ${pen.font}`;
      pen.fillText(`oil to ${end} ft`, this.x(end), this.height - 5);
    }
  }

  points(path) {
    const points = path.board.map((board, ft) => [this.x(ft), this.y(board)]);
    if (path.end && path.end[0] > path.board.length - 1) {
      points.push([this.x(path.end[0]), this.y(path.end[1])]);
    }
    return points;
  }

  drawPath(pen, path) {
    const points = this.points(path);
    if (points.length < 2) return;
    const style = this.series[(path.slot ?? 0) % this.series.length];
    const line = (width, color, dash) => {
      pen.lineWidth = width;
      pen.strokeStyle = color;
      pen.setLineDash(dash);
      pen.beginPath();
      pen.moveTo(...points[0]);
      for (const point of points.slice(1)) pen.lineTo(...point);
      pen.stroke();
    };
    pen.lineJoin = "round";
    pen.globalAlpha = path.faint ? 0.75 : 1;
    line(path.faint ? 4 : 5.5, "rgba(251,250,247,.9)", []);
    line(path.faint ? 1.8 : 2.6, style.color, style.dash.map((d) => 2 * d));
    pen.setLineDash([]);
    pen.globalAlpha = 1;
    if (path.faint) drawMarker(pen, style.marker, ...points[Math.min(22 + 4 * (path.slot ?? 0), points.length - 1)], style.color);
  }

  drawCorridor(pen) {
    const { low, high } = this.corridor;
    pen.beginPath();
    low.forEach((board, ft) => pen[ft ? "lineTo" : "moveTo"](this.x(ft), this.y(board)));
    [...high].reverse().forEach((board, n) => pen.lineTo(this.x(high.length - 1 - n), this.y(board)));
    pen.closePath();
    pen.fillStyle = "rgba(43,154,141,.28)";
    pen.fill();
    pen.lineWidth = 1.2;
    pen.strokeStyle = "#0f5f63";
    pen.stroke();
  }

  drawAim(pen) {
    const { laydown, target } = this.aim;
    const [x, y] = [this.x(this.arrowFt(target)), this.y(target)];
    pen.lineWidth = 1;
    pen.strokeStyle = "rgba(28,34,48,.6)";
    pen.setLineDash([1, 4]);
    pen.beginPath();
    pen.moveTo(this.x(0), this.y(laydown));
    pen.lineTo(x, y);
    pen.stroke();
    pen.setLineDash([]);
  }

  drawBall(pen, ft, board, slot) {
    const [x, y] = [this.x(ft), this.y(board)];
    const radius = this.narrow ? 7 : 9;
    const light = pen.createRadialGradient(x - radius / 3, y - radius / 3, 1, x, y, radius);
    light.addColorStop(0, "#fff");
    light.addColorStop(0.35, this.series[slot % this.series.length].color);
    light.addColorStop(1, this.series[slot % this.series.length].color);
    pen.beginPath();
    pen.arc(x, y, radius, 0, 7);
    pen.fillStyle = light;
    pen.fill();
    pen.lineWidth = 1.5;
    pen.strokeStyle = "#fbfaf7";
    pen.stroke();
  }
}

/** The marker of a kept shot: o circle, s square, ^ v triangles, D diamond, P plus,
 * X cross, * star; the same as in the figures. */
export function drawMarker(pen, kind, x, y, color, size = 5) {
  pen.beginPath();
  const corners = {
    s: [[-1, -1], [1, -1], [1, 1], [-1, 1]], "^": [[0, -1.2], [1.1, 0.9], [-1.1, 0.9]],
    v: [[0, 1.2], [1.1, -0.9], [-1.1, -0.9]], D: [[0, -1.3], [1.3, 0], [0, 1.3], [-1.3, 0]],
    P: [[-0.4, -1.2], [0.4, -1.2], [0.4, -0.4], [1.2, -0.4], [1.2, 0.4], [0.4, 0.4], [0.4, 1.2],
      [-0.4, 1.2], [-0.4, 0.4], [-1.2, 0.4], [-1.2, -0.4], [-0.4, -0.4]],
    X: [[0, -0.5], [0.6, -1.1], [1.1, -0.6], [0.5, 0], [1.1, 0.6], [0.6, 1.1], [0, 0.5], [-0.6, 1.1],
      [-1.1, 0.6], [-0.5, 0], [-1.1, -0.6], [-0.6, -1.1]],
    "*": Array.from({ length: 10 }, (_, n) => [(n % 2 ? 0.55 : 1.35) * Math.sin(n * Math.PI / 5),
      -(n % 2 ? 0.55 : 1.35) * Math.cos(n * Math.PI / 5)]),
  }[kind];
  if (corners) {
    corners.forEach(([dx, dy], n) => pen[n ? "lineTo" : "moveTo"](x + dx * size, y + dy * size));
    pen.closePath();
  } else pen.arc(x, y, size, 0, 7);
  pen.fillStyle = color;
  pen.fill();
  pen.lineWidth = 1;
  pen.strokeStyle = "#fbfaf7";
  pen.stroke();
}
