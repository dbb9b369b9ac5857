// Draws the moving spectrum: the line of this moment, the marks under it, and the fall of the last seconds.

import { grouped } from "../look/shared.js";
import { HALF, place } from "./labels.js";

const ROWS = 150; // fifteen seconds at ten a second
const [TOP_DB, BOTTOM_DB] = [-10, -110];
const LINE_SHARE = 0.38;
const ROWS_A_SECOND = 10;
const [LIFT, SPREAD] = [108, 68]; // in codes, the noise being 100: tones begin to show 4 dB over it, full at 38 dB
const MARKS_PX = 46; // at a text size of 16 px; grows with it

const decode = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));

const niceStep = (span, count) => {
  const raw = span / count;
  const power = 10 ** Math.floor(Math.log10(raw));
  return [1, 2, 5, 10].map((factor) => factor * power).find((step) => step >= raw);
};

const mixed = (low, high, share) => low.map((part, index) => part + (high[index] - part) * share);

export class Spectrum {
  constructor(canvas) {
    this.canvas = canvas;
    this.pen = canvas.getContext("2d", { alpha: false });
    this.fall = document.createElement("canvas");
    this.fallPen = this.fall.getContext("2d", { alpha: false });
    this.history = [];
    this.axis = "hertz";
    this.topHz = 5000;
    this.orderHz = null;
    new ResizeObserver(() => this.resize()).observe(canvas);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.recolour());
  }

  // Colours come from the style sheet, so that scheme and chatter change them too.
  recolour() {
    const style = getComputedStyle(document.body);
    const colour = (name) => style.getPropertyValue(name).trim();
    const parts = (name) => [1, 3, 5].map((at) => parseInt(colour(name).slice(at, at + 2), 16));
    this.colours = Object.fromEntries(["sheet", "ink", "soft", "line", "deep", "plum"].map((n) => [n, colour(`--${n}`)]));
    this.font = style.fontFamily;
    const [low, high] = [parts("--fall-low"), parts("--fall-high")];
    this.palette = Array.from({ length: 256 }, (_, code) => mixed(low, high, Math.min(1, Math.max(0, (code - LIFT) / SPREAD))));
    this.redraw();
  }

  resize() {
    const scale = Math.min(window.devicePixelRatio || 1, 2);
    const box = this.canvas.getBoundingClientRect();
    this.size = { width: box.width, height: box.height, scale };
    this.canvas.width = Math.max(1, Math.round(box.width * scale));
    this.canvas.height = Math.max(1, Math.round(box.height * scale));
    this.text = parseFloat(getComputedStyle(document.documentElement).fontSize) * 0.85;
    this.wide = Math.max(1, Math.round(box.width - 2.9 * this.text)); // the levels stand right of the picture
    this.fall.width = this.wide;
    this.fall.height = ROWS;
    this.recolour();
  }

  choose(axis, topHz) {
    this.axis = axis;
    this.topHz = topHz;
    this.redraw();
  }

  take(message) {
    const row = { ...message, codes: decode(message.bins), turnHz: message.rpm ? message.rpm / 60 : null };
    row.noise = this.noise(row);
    this.history.unshift(row);
    this.history.length = Math.min(this.history.length, ROWS);
    if (!this.size) return;
    if (this.keepScale(row)) return this.redraw();
    this.fallPen.drawImage(this.fall, 0, 1);
    this.fallRow(row, 0);
    this.draw(row);
  }

  // The middle level of what is shown, followed slowly: the paper of the fall, however loud the shop is.
  noise(row) {
    const shown = row.codes.slice(0, Math.max(1, Math.round(this.spanHz(row) / row.step_hz))).sort();
    const middle = shown[shown.length >> 1];
    const before = this.history[0]?.noise ?? middle;
    return before + 0.1 * (middle - before);
  }

  clear() {
    this.history = [];
    this.redraw();
  }

  // In orders the span follows the speed only when it really changed, or the picture would tremble with it.
  keepScale(row) {
    if (!row.turnHz || (this.orderHz && Math.abs(row.turnHz / this.orderHz - 1) < 0.06)) return false;
    this.orderHz = row.turnHz;
    return this.axis === "orders";
  }

  redraw() {
    if (!this.size || !this.colours) return;
    this.fallPen.fillStyle = this.colours.sheet;
    this.fallPen.fillRect(0, 0, this.fall.width, ROWS);
    this.history.forEach((row, index) => this.fallRow(row, index));
    this.draw(this.history[0]);
  }

  spanHz(row) {
    const allHz = row.codes.length * row.step_hz;
    return this.topHz ? Math.min(this.topHz, allHz) : allHz;
  }

  get inOrders() {
    return this.axis === "orders" && Boolean(this.orderHz);
  }

  // Hertz at a place of the axis, for this row's own speed.
  hertzAt(row, share) {
    const hertz = share * this.spanHz(row);
    return this.inOrders ? (hertz / this.orderHz) * (row.turnHz || this.orderHz) : hertz;
  }

  shareOf(row, hertz) {
    const span = this.spanHz(row);
    return this.inOrders ? ((hertz / (row.turnHz || this.orderHz)) * this.orderHz) / span : hertz / span;
  }

  // The loudest bin between two places, so that no tone falls between pixels.
  loudest(row, from, to) {
    const first = Math.min(row.codes.length - 1, Math.round(this.hertzAt(row, from) / row.step_hz));
    const last = Math.min(row.codes.length - 1, Math.max(first, Math.round(this.hertzAt(row, to) / row.step_hz) - 1));
    let most = 0;
    for (let bin = first; bin <= last; bin += 1) most = Math.max(most, row.codes[bin]);
    return most;
  }

  fallRow(row, y) {
    const width = this.fall.width;
    const image = this.fallPen.createImageData(width, 1);
    for (let x = 0; x < width; x += 1) {
      const code = this.loudest(row, x / width, (x + 1) / width) - row.noise + 100;
      const colour = this.palette[Math.min(255, Math.max(0, Math.round(code)))];
      image.data.set([colour[0], colour[1], colour[2], 255], 4 * x);
    }
    this.fallPen.putImageData(image, 0, y);
  }

  draw(row) {
    const { width, height, scale } = this.size;
    const pen = this.pen;
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    pen.fillStyle = this.colours.sheet;
    pen.fillRect(0, 0, width, height);
    if (!row) return;
    const head = this.text * 1.8; // the top row of numbers
    const marks = (MARKS_PX * this.text) / 13.6;
    const floor = head + (height - head - marks) * LINE_SHARE;
    pen.font = `600 ${this.text}px ${this.font}`;
    this.grid(head, floor);
    this.line(row, head, floor);
    this.comb(row, floor);
    this.axisText(row, floor + marks - this.text * 0.5);
    pen.imageSmoothingEnabled = false;
    pen.drawImage(this.fall, 0, 0, this.fall.width, ROWS, 0, floor + marks, this.wide, height - floor - marks);
    this.seconds(floor + marks, height);
    this.strays(row, head, floor);
  }

  grid(top, floor) {
    const pen = this.pen;
    pen.strokeStyle = this.colours.line;
    pen.lineWidth = 1;
    pen.fillStyle = this.colours.soft;
    pen.textAlign = "right";
    for (let level = -30; level > BOTTOM_DB; level -= 30) {
      const y = Math.round(this.heightOf(level, top, floor)) + 0.5;
      pen.beginPath();
      pen.moveTo(0, y);
      pen.lineTo(this.wide, y);
      pen.stroke();
      pen.fillText(`−${-level}`, this.size.width - 1, y + this.text * 0.35);
    }
    pen.fillText("dB", this.size.width - 1, floor);
  }

  // How long ago: also what has not been filled yet reads as time.
  seconds(top, bottom) {
    const pen = this.pen;
    pen.strokeStyle = this.colours.line;
    pen.lineWidth = 1;
    pen.strokeRect(0.5, Math.round(top) - 0.5, this.wide - 1, bottom - Math.round(top));
    pen.fillStyle = this.colours.soft;
    pen.textAlign = "right";
    for (let ago = 5; ago < ROWS / ROWS_A_SECOND; ago += 5) {
      const y = top + ((bottom - top) * ago * ROWS_A_SECOND) / ROWS;
      this.stroke(this.wide - 6, y, this.wide, y);
      pen.fillText(`${ago}\u00a0s`, this.size.width - 1, y + this.text * 0.35);
    }
  }

  plate(text, left, base, colour) {
    this.pen.textAlign = "left";
    this.pen.fillStyle = this.colours.sheet;
    this.pen.fillRect(left - 3, base - this.text, this.pen.measureText(text).width + 6, this.text * 1.3);
    this.pen.fillStyle = colour;
    this.pen.fillText(text, left, base);
  }

  heightOf(level, top, floor) {
    const shown = Math.min(Math.max(level, BOTTOM_DB), TOP_DB);
    return floor - ((shown - BOTTOM_DB) / (TOP_DB - BOTTOM_DB)) * (floor - top);
  }

  line(row, top, floor) {
    const pen = this.pen;
    const width = this.wide;
    pen.beginPath();
    pen.moveTo(0, floor);
    for (let x = 0; x < width; x += 1) {
      const level = row.floor_db + row.per_step_db * this.loudest(row, x / width, (x + 1) / width);
      pen.lineTo(x + 0.5, this.heightOf(level, top, floor));
    }
    pen.lineTo(width, floor);
    pen.strokeStyle = this.colours.ink;
    pen.lineWidth = 1.6;
    pen.lineJoin = "round";
    pen.stroke();
    pen.globalAlpha = 0.1;
    pen.fillStyle = this.colours.ink;
    pen.fill();
    pen.globalAlpha = 1;
  }

  comb(row, floor) {
    if (!row.turnHz) return;
    const pen = this.pen;
    const apart = this.shareOf(row, row.turnHz) * this.wide;
    pen.strokeStyle = pen.fillStyle = this.colours.deep;
    pen.lineWidth = 2;
    for (let order = 1; order * apart < this.wide; order += 1) {
      const x = order * apart;
      const passing = row.flutes && order % row.flutes === 0;
      if (passing) this.triangle(x, floor + 3, Math.min(7, apart * row.flutes * 0.3));
      else if (apart > 5) this.stroke(x, floor + 3, x, floor + 10);
    }
  }

  triangle(x, y, half) {
    const pen = this.pen;
    pen.beginPath();
    pen.moveTo(x, y);
    pen.lineTo(x + half, y + 1.7 * half);
    pen.lineTo(x - half, y + 1.7 * half);
    pen.fill();
  }

  stroke(x1, y1, x2, y2) {
    this.pen.beginPath();
    this.pen.moveTo(x1, y1);
    this.pen.lineTo(x2, y2);
    this.pen.stroke();
  }

  axisText(row, y) {
    const pen = this.pen;
    const unit = this.inOrders ? this.orderHz : 1;
    const span = this.spanHz(row) / unit;
    const name = this.inOrders ? "orders" : span > 1500 ? "kHz" : "Hz";
    const divide = name === "kHz" ? 1000 : 1;
    const step = niceStep(span, Math.max(3, this.wide / (6 * this.text)));
    pen.fillStyle = this.colours.soft;
    pen.textAlign = "left";
    pen.fillText(`0 ${name}`, 1, y);
    pen.textAlign = "center";
    for (let at = step; at < span * 0.985; at += step) {
      const x = (at / span) * this.wide;
      if (x > this.text * 5) pen.fillText(name === "Hz" ? grouped(at, 6) : String(Number((at / divide).toPrecision(6))), Math.min(x, this.wide - this.text), y);
    }
  }

  // A diamond over the line with the number beside it; what lies beyond the right edge is named there.
  strays(row, top, floor) {
    const tones = row.stray.slice(0, 4).map((tone) => this.strayMark(row, tone, top, floor));
    const places = place(tones, this.wide);
    tones.forEach(({ x, y, text, inside }, at) => {
      const box = places[at];
      this.pen.fillStyle = this.pen.strokeStyle = this.colours.plum;
      if (box?.row === "top") this.stem(x, this.text * 1.4, y);
      this.diamond(x, y);
      if (inside) this.diamond(x, floor + 10, 7);
      if (box) this.plate(text, box.left, box.row === "top" ? this.text : y + this.text * 0.35, this.colours.plum);
    });
  }

  strayMark(row, tone, top, floor) {
    const share = this.shareOf(row, tone.frequency_hz);
    const order = tone.frequency_hz / (row.turnHz || this.orderHz);
    const number = this.inOrders ? order.toFixed(2) : `${grouped(tone.frequency_hz)}\u00a0Hz`;
    const text = number + (share > 1 ? " →" : "");
    return {
      x: Math.min(share * this.wide, this.wide - HALF),
      y: Math.max(top + HALF, this.heightOf(tone.level_db, top, floor) - 12),
      text,
      width: this.pen.measureText(text).width,
      inside: share < 1,
    };
  }

  stem(x, from, to) {
    this.pen.lineWidth = 1.5;
    this.stroke(x, from, x, to);
  }

  diamond(x, y, half = HALF) {
    const pen = this.pen;
    pen.beginPath();
    pen.moveTo(x, y - half);
    pen.lineTo(x + half * 0.8, y);
    pen.lineTo(x, y + half);
    pen.lineTo(x - half * 0.8, y);
    pen.fill();
  }
}
