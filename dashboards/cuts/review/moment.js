// The spectrum at the cursor and the table of its lines; the listener's own word comes a little later.

import { decibels, grouped, say } from "../../look/shared.js";
import { moment as timeWords, niceStep } from "./axes.js";

const REST_MS = 250;
const AGAIN_MS = 700;
const MOST_TRIES = 120;
const RANGE_DB = 80;
const part = (id) => document.getElementById(id);
const signed = (value) => `${value < 0 ? "−" : "+"}${Math.abs(value).toFixed(1)}`;

export class Moment {
  constructor(base, review) {
    this.base = base;
    this.review = review;
    this.canvas = part("moment-canvas");
    this.pen = this.canvas.getContext("2d", { alpha: false });
    this.waiting = 0;
    this.turn = 0;
    this.told = null;
    new ResizeObserver(() => this.paint()).observe(this.canvas);
  }

  // Asks once the cursor has come to rest; while the sound plays it would be gone before it is read.
  look(second) {
    clearTimeout(this.waiting);
    this.turn += 1;
    if (this.review.player.playing) return;
    const turn = this.turn;
    this.waiting = setTimeout(() => (this.review.ready ? this.fetch(second, turn, 0) : this.look(second)), REST_MS);
  }

  async fetch(second, turn, tries) {
    try {
      const response = await fetch(`${this.base}/spectrum?at=${second.toFixed(4)}`);
      const told = await response.json();
      if (turn !== this.turn) return;
      if (!response.ok) return say(part("moment-said"), `${told.error} ${told.hint}`);
      this.take(told, turn, tries);
    } catch {
      if (turn === this.turn) say(part("moment-said"), "The monitor did not answer. Move the cursor to ask again.");
    }
  }

  take(told, turn, tries) {
    this.told = told;
    this.codes = Uint8Array.from(atob(told.spectrum.codes), (letter) => letter.charCodeAt(0));
    say(part("moment-time"), timeWords(told.at_s, 5));
    this.explain(told.explanation);
    this.fill(told.lines);
    this.paint();
    part("moment-spectrum").dataset.status = told.explanation.status;
    if (told.explanation.status === "thinking" && tries < MOST_TRIES) {
      this.waiting = setTimeout(() => this.fetch(told.at_s, turn, tries + 1), AGAIN_MS);
    }
  }

  explain(said) {
    const words = {
      thinking: "The monitor hears this moment again; what it took each line for follows.",
      failed: `What the monitor took each line for cannot be told. ${said.error ?? ""} ${said.hint ?? ""}`,
      ready: this.verdict(said),
    };
    say(part("moment-said"), words[said.status]);
    const parts = said.evidence?.parts ?? [];
    const counted = parts.slice(0, 6).map(({ what, adds }) => `${signed(adds)} ${what}`);
    say(part("moment-why"), counted.length && said.suspect_hz ? `For (+) and against (−) chatter at ${grouped(said.suspect_hz)}\u00a0Hz: ${counted.join(", ")}.` : "");
  }

  verdict({ state, unsure, evidence, heard_whole: whole }) {
    if (!state) return "";
    const sum = evidence ? ` Evidence so far ${evidence.total.toFixed(1)}; the alarm is raised at ${evidence.alarm_at.toFixed(1)}.` : "";
    const near = whole === false ? " Heard from shortly before only, so that it may differ a little from what was said then." : "";
    return `Heard up to here, as it was cut: ${state.replace("-", " ")}${unsure ? ", not sure" : ""}.${sum}${near}`;
  }

  fill(lines) {
    const rows = lines.map((line) => {
      const row = document.createElement("tr");
      if (line.counts) row.className = "counts";
      const order = line.order === null ? "–" : line.order.toFixed(2);
      const cells = [line.frequency_hz.toFixed(1), order, decibels(line.level_db), line.what, line.why];
      row.append(...cells.map((text) => Object.assign(document.createElement("td"), { textContent: text })));
      return row;
    });
    part("moment-lines").tBodies[0].replaceChildren(...rows);
  }

  // Level upwards, hertz or orders to the right, as far as the picture above goes.
  paint() {
    if (!this.told || !this.canvas.clientWidth) return;
    const { board, picture } = this.review;
    const scale = Math.min(window.devicePixelRatio || 1, 2);
    const [width, height] = [this.canvas.clientWidth, this.canvas.clientHeight];
    [this.canvas.width, this.canvas.height] = [Math.round(width * scale), Math.round(height * scale)];
    const { pen } = this;
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    pen.fillStyle = board.colours.sheet;
    pen.fillRect(0, 0, width, height);
    pen.font = `600 ${board.text}px ${board.font}`;
    const turn = this.told.rpm ? this.told.rpm / 60 : null;
    const inOrders = picture.axis === "orders" && turn;
    const top = inOrders ? picture.top * turn : picture.axis === "orders" ? 5000 : picture.top;
    const box = { left: 3 * board.text, top: board.text * 1.8, width: width - 3 * board.text - 4, height: height - 4 * board.text };
    const most = Math.max(-30, 10 * Math.ceil(Math.max(-100, ...this.told.lines.map((line) => line.level_db)) / 10));
    const scales = { box, top, most, x: (hertz) => box.left + (hertz / top) * box.width, y: (level) => box.top + ((most - Math.max(level, most - RANGE_DB)) / RANGE_DB) * box.height };
    this.grid(scales, inOrders ? turn : 1, inOrders ? "order" : top > 1500 ? "kHz" : "Hz");
    this.curve(scales);
    this.marks(scales);
  }

  grid({ box, top, most, x, y }, unit, name) {
    const { pen } = this;
    const { colours, text } = this.review.board;
    pen.strokeStyle = colours.line;
    pen.fillStyle = colours.soft;
    pen.lineWidth = 1;
    pen.textAlign = "right";
    for (let level = most; level >= most - RANGE_DB; level -= 20) {
      this.stroke(box.left, y(level), box.left + box.width, y(level));
      pen.fillText(String(level).replace("-", "−"), box.left - 5, y(level) + text * 0.35);
    }
    pen.textAlign = "center";
    const divide = name === "kHz" ? 1000 : 1;
    const step = niceStep(top / unit, Math.max(3, box.width / (6 * text)));
    for (let at = step; at < (top / unit) * 0.97; at += step) {
      this.stroke(x(at * unit), box.top + box.height, x(at * unit), box.top + box.height + 5);
      pen.fillText(String(Number((at / divide).toPrecision(5))), x(at * unit), box.top + box.height + text * 1.5);
    }
    pen.textAlign = "left";
    pen.fillText(name, box.left, box.top + box.height + text * 1.5);
    pen.fillText("dB", 0, text);
  }

  curve({ box, top, y }) {
    const { pen } = this;
    const { step_hz: step, floor_db: floor, per_step_db: per } = this.told.spectrum;
    pen.strokeStyle = this.review.board.colours.ink;
    pen.lineWidth = 1.4;
    pen.beginPath();
    for (let px = 0; px < box.width; px += 1) {
      const first = Math.round((px / box.width) * (top / step));
      const last = Math.max(first + 1, Math.round(((px + 1) / box.width) * (top / step)));
      let most = 0;
      for (let bin = first; bin < last && bin < this.codes.length; bin += 1) most = Math.max(most, this.codes[bin]);
      pen.lineTo(box.left + px, y(floor + per * most));
    }
    pen.stroke();
  }

  // Wedges for tooth passing, short strokes for the rotation, diamonds for what counts, rings for what is stray.
  marks({ box, top, x, y }) {
    const { pen } = this;
    const { colours } = this.review.board;
    for (const line of this.told.lines) {
      if (line.frequency_hz > top) continue;
      const [at, level] = [x(line.frequency_hz), y(line.level_db)];
      const comb = line.what === "tooth passing" || line.what === "rotation";
      pen.strokeStyle = pen.fillStyle = comb ? colours.deep : line.counts || line.what === "stray" ? colours.plum : colours.soft;
      pen.lineWidth = 2;
      pen.beginPath();
      if (line.what === "tooth passing") for (const [dx, dy] of [[0, -4], [5, -13], [-5, -13]]) pen.lineTo(at + dx, level + dy);
      else if (line.what === "rotation") for (const dy of [-4, -11]) pen.lineTo(at, level + dy);
      else if (line.counts) for (const [dx, dy] of [[0, -4], [6, -11], [0, -18], [-6, -11]]) pen.lineTo(at + dx, level + dy);
      else pen.arc(at, level - 8, 4, 0, 7);
      if (line.what === "tooth passing" || line.counts) pen.fill();
      else pen.stroke();
    }
    pen.strokeStyle = colours.line;
    pen.strokeRect(box.left, box.top, box.width, box.height);
  }

  stroke(x1, y1, x2, y2) {
    this.pen.beginPath();
    this.pen.moveTo(x1, y1);
    this.pen.lineTo(x2, y2);
    this.pen.stroke();
  }
}
