// The map of places to stand: laydown board against board at the arrows, coloured by how often
// the pocket is found. It fills row by row; a click stands there.

import { h, num } from "./dom.js";

export class StandMap {
  /** scale: colours from nothing up; arrows: boards of the columns; stand({laydown_board, target_board}) is told. */
  constructor(scale, arrows, stand) {
    this.colors = scale;
    this.rows = new Map();
    this.arrows = arrows;
    this.line = null;
    this.top = 0.01;
    this.canvas = h("canvas", { class: "map", role: "img", tabindex: "0" });
    this.canvas.addEventListener("click", (event) => {
      const box = this.canvas.getBoundingClientRect();
      const at = this.at(event.clientX - box.left, event.clientY - box.top);
      if (at) stand(at);
    });
    this.canvas.addEventListener("keydown", (event) => {
      const [dx, dy] = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key] || [0, 0];
      if (!dx && !dy) return;
      stand({ laydown_board: this.line.laydown_board + dy, target_board: this.line.target_board + dx });
      event.preventDefault();
    });
    new ResizeObserver(() => this.draw()).observe(this.canvas);
  }

  clear() { this.rows.clear(); this.draw(); }

  add(laydown, rates, arrows) {
    this.rows.set(laydown, rates);
    this.arrows = arrows;
    this.draw();
  }

  show(line) { this.line = line; this.draw(); }

  place() {
    const [left, right, top, low] = [44, 10, 8, 34];
    const cell = [(this.canvas.clientWidth - left - right) / this.arrows.length,
      (this.canvas.clientHeight - top - low) / 30];
    return { left, top, low, cell };
  }

  at(x, y) {
    if (!this.arrows.length) return null;
    const { left, top, cell } = this.place();
    const [column, row] = [Math.floor((x - left) / cell[0]), Math.floor((y - top) / cell[1])];
    if (column < 0 || column >= this.arrows.length || row < 0 || row >= 30) return null;
    return { laydown_board: 35 - row, target_board: this.arrows[column] };
  }

  draw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => { this.waiting = false; this.drawNow(); });
  }

  drawNow() {
    const { canvas } = this;
    const scale = devicePixelRatio || 1;
    if (!canvas.clientWidth || !this.arrows.length) return;
    canvas.width = canvas.clientWidth * scale;
    canvas.height = canvas.clientHeight * scale;
    const pen = canvas.getContext("2d");
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    const { left, top, low, cell } = this.place();
    const ink = getComputedStyle(canvas).color;
    let best = { rate: -1 };
    for (const [laydown, rates] of this.rows) {
      rates.forEach((rate, n) => { if (rate !== null && rate > best.rate) best = { rate, laydown, arrow: this.arrows[n] }; });
    }
    const most = Math.max(0.05, best.rate);
    const x = (arrow) => left + (arrow - this.arrows[0]) * cell[0];
    const y = (laydown) => top + (35 - laydown) * cell[1];
    pen.strokeStyle = ink;
    for (const [laydown, rates] of this.rows) {
      rates.forEach((rate, n) => {
        if (rate === null) return;
        pen.fillStyle = this.colors[Math.round((rate / most) * (this.colors.length - 1))];
        pen.fillRect(x(this.arrows[n]), y(laydown), cell[0] + 0.5, cell[1] + 0.5);
        if (rate > 0.8 * most) { // readable without colour: a dot on the best places
          pen.fillStyle = "#fff";
          pen.fillRect(x(this.arrows[n]) + cell[0] / 2 - 1, y(laydown) + cell[1] / 2 - 1, 2, 2);
        }
      });
    }
    pen.globalAlpha = 0.4;
    pen.strokeRect(left, top, cell[0] * this.arrows.length, cell[1] * 30);
    pen.globalAlpha = 1;
    pen.fillStyle = ink;
    pen.font = "11px system-ui, sans-serif";
    pen.textAlign = "center";
    for (const arrow of this.arrows) if (arrow % 5 === 0) pen.fillText(String(arrow), x(arrow) + cell[0] / 2, canvas.clientHeight - low + 14);
    pen.fillText("board at the arrows", left + cell[0] * this.arrows.length / 2, canvas.clientHeight - 4);
    pen.textAlign = "right";
    for (let laydown = 10; laydown <= 35; laydown += 5) pen.fillText(String(laydown), left - 6, y(laydown) + cell[1] / 2 + 4);
    pen.save();
    pen.translate(11, top + cell[1] * 15);
    pen.rotate(-Math.PI / 2);
    pen.textAlign = "center";
    pen.fillText("laydown board", 0, 0);
    pen.restore();
    if (this.line) {
      const { laydown_board: laydown, target_board: target } = this.line;
      pen.beginPath();
      pen.arc(x(target) + cell[0] / 2, y(laydown) + cell[1] / 2, 7, 0, 7);
      pen.lineWidth = 4;
      pen.strokeStyle = "#fff";
      pen.stroke();
      pen.lineWidth = 2;
      pen.strokeStyle = "#0f5f63";
      pen.stroke();
    }
    canvas.setAttribute("aria-label", "Map of places to stand: laydown board against board at the arrows. "
      + (best.rate < 0 ? "Being filled. " : `Best so far laydown ${num(best.laydown, 0)} over ${num(best.arrow, 0)}: `
        + `${num(100 * best.rate, 0)} per cent find the pocket. `) + "Arrow keys move you.");
  }
}
