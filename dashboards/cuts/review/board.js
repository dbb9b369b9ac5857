// Pen work for the lanes: everything is drawn on one canvas, left of it the numbers, right of it the comb.

const SIZES = ["sheet", "paper", "ink", "soft", "line", "edge", "deep", "mid", "plum", "focus", "fall-low", "fall-high"];

export class Board {
  constructor(canvas) {
    this.canvas = canvas;
    this.pen = canvas.getContext("2d", { alpha: false });
    this.recolour();
  }

  // Colours come from the style sheet, so that the scheme changes them too.
  recolour() {
    const style = getComputedStyle(document.body);
    this.colours = Object.fromEntries(SIZES.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
    this.font = style.fontFamily;
    this.patterns = { metal: this.pattern("metal"), ring: this.pattern("ring") };
  }

  rgb(name) {
    return [1, 3, 5].map((at) => parseInt(this.colours[name].slice(at, at + 2), 16));
  }

  resize() {
    const box = this.canvas.getBoundingClientRect();
    this.scale = Math.min(window.devicePixelRatio || 1, 2);
    [this.width, this.height] = [box.width, box.height];
    this.canvas.width = Math.max(1, Math.round(box.width * this.scale));
    this.canvas.height = Math.max(1, Math.round(box.height * this.scale));
    this.text = Math.max(11, parseFloat(getComputedStyle(document.documentElement).fontSize) * 0.78);
    this.left = 4.3 * this.text;
    this.right = this.width - 1.6 * this.text;
    this.boxes = this.divide();
  }

  // From the top: the seconds, the picture, and the lanes in the order in which one looks at them.
  divide() {
    const gap = this.text * 1.55;
    const parts = [["picture", 10], ["speed", 2], ["energy", 3], ["level", 2], ["bands", 1.7]];
    const free = this.height - this.text * 2 - gap * 4;
    const total = parts.reduce((sum, [, share]) => sum + share, 0);
    let top = this.text * 2;
    const boxes = {};
    for (const [name, share] of parts) {
      const height = Math.round((free * share) / total);
      boxes[name] = { left: this.left, top: Math.round(top), width: this.right - this.left, height };
      top += height + gap;
    }
    return boxes;
  }

  begin() {
    this.pen.setTransform(this.scale, 0, 0, this.scale, 0, 0);
    this.pen.fillStyle = this.colours.sheet;
    this.pen.fillRect(0, 0, this.width, this.height);
    this.pen.font = `600 ${this.text}px ${this.font}`;
    this.pen.textBaseline = "alphabetic";
  }

  x(span, second) {
    return this.left + ((second - span.from) / span.length) * (this.right - this.left);
  }

  second(span, x) {
    return span.from + ((x - this.left) / (this.right - this.left)) * span.length;
  }

  frame(box, name, keys = []) {
    const { pen, colours } = this;
    pen.strokeStyle = colours.line;
    pen.lineWidth = 1;
    pen.setLineDash([]);
    pen.strokeRect(box.left + 0.5, box.top + 0.5, box.width - 1, box.height - 1);
    pen.fillStyle = colours.soft;
    pen.textAlign = "left";
    let x = box.left;
    const y = box.top - this.text * 0.4;
    if (name) {
      pen.fillText(name, x, y);
      x += pen.measureText(name).width + this.text;
    }
    for (const [word, colour, dash] of keys) x = this.keyWord(x, y, word, colour, dash);
  }

  keyWord(x, y, word, colour, dash) {
    const { pen } = this;
    const wide = this.text * 1.6;
    if (dash) this.stroke(x, y - this.text * 0.35, x + wide, y - this.text * 0.35, this.colours[colour], 2.5, dash);
    else this.patternRect(x, y - this.text * 0.8, wide, this.text * 0.8, colour);
    pen.fillStyle = this.colours.soft;
    pen.textAlign = "left";
    pen.fillText(word, x + wide + 5, y);
    return x + wide + 5 + pen.measureText(word).width + this.text;
  }

  limits(box, [high, low]) {
    this.pen.fillStyle = this.colours.soft;
    this.pen.textAlign = "right";
    this.pen.fillText(high, box.left - 5, box.top + this.text * 0.8);
    this.pen.fillText(low, box.left - 5, box.top + box.height - 2);
  }

  note(box, words) {
    this.pen.fillStyle = this.colours.soft;
    this.pen.textAlign = "center";
    this.pen.fillText(words, box.left + box.width / 2, box.top + box.height / 2 + this.text * 0.35, box.width - 8);
  }

  inside(box, draw) {
    this.pen.save();
    this.pen.beginPath();
    this.pen.rect(box.left, box.top, box.width, box.height);
    this.pen.clip();
    draw();
    this.pen.restore();
  }

  // A series over time; what is not known is a gap.
  line(box, span, times, values, [low, high], { colour, width, dash = [], fill = false }) {
    const { pen } = this;
    const y = (value) => box.top + box.height - ((Math.min(Math.max(value, low), high) - low) / (high - low)) * box.height;
    this.inside(box, () => {
      pen.strokeStyle = pen.fillStyle = this.colours[colour];
      pen.lineWidth = width;
      pen.lineJoin = "round";
      pen.setLineDash(dash);
      pen.beginPath();
      let open = false;
      let [from, last] = [0, 0];
      times.forEach((second, at) => {
        const seen = values[at] !== null && (times[at + 1] ?? second) >= span.from && (times[at - 1] ?? second) <= span.to;
        if (!seen) return void (open = false);
        last = this.x(span, second);
        if (open) pen.lineTo(last, y(values[at]));
        else pen.moveTo((from = last), y(values[at]));
        open = true;
      });
      pen.stroke();
      if (fill) this.shade(box, from, last);
    });
  }

  shade(box, from, last) {
    const { pen } = this;
    pen.lineTo(last, box.top + box.height);
    pen.lineTo(from, box.top + box.height);
    pen.globalAlpha = 0.14;
    pen.fill();
  }

  envelope(box, span, times, low, high, most) {
    const { pen } = this;
    const y = (value) => box.top + box.height / 2 - (value / most) * (box.height / 2 - 1);
    this.inside(box, () => {
      pen.strokeStyle = this.colours.ink;
      pen.lineWidth = 1.2;
      pen.beginPath();
      times.forEach((second, at) => {
        if ((times[at + 1] ?? second) < span.from || (times[at - 1] ?? second) > span.to) return;
        const x = this.x(span, second);
        pen.lineTo(x, y(high[at]));
        pen.lineTo(x, y(low[at]));
      });
      pen.stroke();
    });
  }

  cross(x, y) {
    const { pen } = this;
    pen.setLineDash([]);
    for (const [a, b] of [[-4, -4], [-4, 4]]) this.stroke(x + a, y + b, x - a, y - b, this.colours.ink, 2);
    pen.lineWidth = 1;
  }

  band(span, from, to, top, height, kind) {
    const [a, b] = [Math.max(this.left, this.x(span, from)), Math.min(this.right, this.x(span, to))];
    if (b < this.left || a > this.right) return;
    this.patternRect(a, top, Math.max(2, b - a), height, kind);
  }

  patternRect(x, y, width, height, kind) {
    const { pen } = this;
    pen.fillStyle = this.patterns[kind];
    pen.fillRect(x, y, width, height);
    pen.setLineDash([]);
    pen.strokeStyle = this.colours[kind === "ring" ? "plum" : "deep"];
    pen.lineWidth = 2;
    pen.strokeRect(x, y, width, height);
  }

  flag(span, second, box) {
    const x = this.x(span, second);
    if (x < this.left || x > this.right) return;
    this.stroke(x, box.top, x, box.top + box.height, this.colours.ink, 2, [5, 3]);
    this.pen.fillStyle = this.colours.ink;
    this.pen.beginPath();
    this.pen.arc(x, box.top, 5, 0, 7);
    this.pen.fill();
  }

  stroke(x1, y1, x2, y2, colour, width = 1, dash = []) {
    const { pen } = this;
    pen.strokeStyle = colour;
    pen.lineWidth = width;
    pen.setLineDash(dash);
    pen.beginPath();
    pen.moveTo(x1, y1);
    pen.lineTo(x2, y2);
    pen.stroke();
    pen.setLineDash([]);
  }

  plate(text, left, base, colour) {
    const { pen } = this;
    pen.textAlign = "left";
    const width = pen.measureText(text).width;
    pen.fillStyle = this.colours.sheet;
    pen.fillRect(left - 3, base - this.text, width + 6, this.text * 1.3);
    pen.fillStyle = colour;
    pen.fillText(text, left, base);
    return width;
  }

  // Never colour alone: metal is hatched, ringing is a zigzag.
  pattern(kind) {
    const cell = document.createElement("canvas");
    cell.width = cell.height = 12;
    const pen = cell.getContext("2d");
    pen.fillStyle = this.colours[kind === "metal" ? "mid" : "sheet"];
    pen.fillRect(0, 0, 12, 12);
    pen.strokeStyle = this.colours[kind === "metal" ? "deep" : "plum"];
    pen.lineWidth = 2;
    pen.beginPath();
    const path = kind === "metal" ? [[-1, 13], [13, -1]] : [[0, 3], [6, 9], [12, 3]];
    path.forEach(([x, y]) => pen.lineTo(x, y));
    pen.stroke();
    return this.pen.createPattern(cell, "repeat");
  }
}
