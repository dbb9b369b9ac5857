// The picture of the sound: tiles of 256 columns, each width of columns twice the one below, fetched as they are seen.

const COLUMNS = 256;
const ROWS = 256;
const FINEST_S = 0.1; // columns of level 0; level -1 has half of that
const MOST_TILES = 120;
const MOST_LEVELS = 20;
const AT_ONCE = 3;
const DB_PER_CODE = 0.4;
const ROUGH_AGAIN_MS = 700;
const FAILED_AGAIN_MS = 2500;
const AHEAD_MS = 120; // once nothing moved for so long, what a next step would show is fetched
const QUICK_MS = 60; // unless the monitor takes longer than this for a tile: then it has enough to do

const mixed = (low, high, share) => low.map((part, index) => Math.round(part + (high[index] - part) * share));

export class Picture {
  constructor(base, changed) {
    this.base = base;
    this.changed = changed;
    this.tiles = new Map();
    this.asked = new Map();
    this.pausedUntil = 0;
    this.tookMs = 0;
    this.axis = "hertz";
    this.top = 5000;
    this.shift = 0;
    this.problem = "";
    this.wanted = [];
    this.ahead = [];
    this.quiet = null;
  }

  // What is shown upwards: hertz or orders, from 0 to `top`.
  choose(axis, top) {
    if (axis === this.axis && top === this.top) return;
    Object.assign(this, { axis, top });
  }

  // One scale of lightness: paper for what is quiet, ink for what is loud.
  colour(low, high) {
    this.ends = [low, high];
    this.recolour();
  }

  brighten(decibels) {
    this.shift += decibels / DB_PER_CODE;
    this.recolour();
  }

  recolour() {
    if (!this.ends) return;
    const from = (this.quiet ?? 60) + this.shift;
    const reach = Math.max(60, (this.loud ?? 200) - (this.quiet ?? 60));
    this.palette = new Uint32Array(256);
    const bytes = new Uint8Array(this.palette.buffer);
    for (let code = 0; code < 256; code += 1) {
      const share = Math.min(1, Math.max(0, (code - from) / reach));
      bytes.set([...mixed(...this.ends, share ** 0.9), 255], 4 * code);
    }
    for (const tile of this.tiles.values()) tile.canvas = null;
    this.changed();
  }

  key(level, index) {
    return `${this.axis} ${this.top} ${level} ${index}`;
  }

  levelFor(secondsPerPixel) {
    return Math.round(Math.log2(secondsPerPixel / FINEST_S));
  }

  tileS(level) {
    return COLUMNS * FINEST_S * 2 ** level;
  }

  // Draw what is known of the stretch into a box, and ask for what is missing; `focus` is where one would go nearer.
  draw(pen, box, span, focus) {
    const level = this.levelFor(span.length / box.width);
    const tileS = this.tileS(level);
    const [first, last] = [Math.floor(Math.max(0, span.from) / tileS), Math.floor((span.to - 1e-9) / tileS)];
    const middle = (first + last) / 2;
    const wanted = this.first(span.whole);
    let [whole, covered] = [true, true];
    pen.save();
    pen.beginPath();
    pen.rect(box.left, box.top, box.width, box.height);
    pen.clip();
    pen.imageSmoothingEnabled = true;
    for (let index = first; index <= last; index += 1) {
      const tile = this.tiles.get(this.key(level, index));
      if (!tile) covered = this.standIn(pen, box, span, level, index) && covered;
      else this.paint(pen, box, span, tile, index * tileS, (index + 1) * tileS);
      if (!tile || tile.rough) wanted.push({ level, index, far: Math.abs(index - middle) });
      whole &&= Boolean(tile);
    }
    pen.restore();
    this.want(wanted.sort((a, b) => a.far - b.far), this.nextSteps(span, level, focus));
    return { whole, covered };
  }

  // What would be seen after one step nearer, or a little farther along.
  nextSteps(span, level, focus) {
    const share = Math.min(1, Math.max(0, (focus - span.from) / span.length));
    const from = focus - (share * span.length) / 2;
    const nearer = this.within(span, level - 1, from, from + span.length / 2);
    const beside = this.tileS(level) / 2;
    return [...nearer, ...this.within(span, level, span.from - beside, span.to + beside)];
  }

  within(span, level, from, to) {
    const tileS = this.tileS(level);
    const [first, last] = [Math.max(0, Math.floor(from / tileS)), Math.floor((Math.min(to, span.whole) - 1e-9) / tileS)];
    return Array.from({ length: Math.max(0, last - first + 1) }, (_, at) => ({ level, index: first + at }));
  }

  // The whole in one tile comes first: it stands in for all others until they are there.
  first(wholeS) {
    const level = Math.max(0, Math.ceil(Math.log2(wholeS / (COLUMNS * FINEST_S))));
    this.begun = this.tiles.has(this.key(level, 0));
    return this.begun ? [] : [{ level, index: 0, far: -1 }];
  }

  // What wider or narrower tiles know of a place, until its own tile is there.
  standIn(pen, box, span, level, index) {
    const tileS = this.tileS(level);
    let covered = false;
    for (let up = MOST_LEVELS; up >= 1; up -= 1) {
      const [above, aboveS] = [Math.floor(index / 2 ** up), this.tileS(level + up)];
      const tile = this.tiles.get(this.key(level + up, above));
      if (!tile) continue;
      this.paint(pen, box, span, tile, above * aboveS, (above + 1) * aboveS, index * tileS, (index + 1) * tileS);
      covered = true;
    }
    for (let child = 2 * index; child <= 2 * index + 1; child += 1) {
      const tile = this.tiles.get(this.key(level - 1, child));
      if (tile) this.paint(pen, box, span, tile, (child * tileS) / 2, ((child + 1) * tileS) / 2);
    }
    return covered;
  }

  paint(pen, box, span, tile, fromS, toS, onlyFrom = fromS, onlyTo = toS) {
    const [a, b] = [Math.max(onlyFrom, span.from), Math.min(onlyTo, span.to)];
    if (b <= a) return;
    const canvas = this.canvasOf(tile);
    const perColumn = (toS - fromS) / COLUMNS;
    const scale = box.width / span.length;
    const [x, width] = [(a - fromS) / perColumn, (b - a) / perColumn];
    pen.drawImage(canvas, x, 0, width, ROWS, box.left + (a - span.from) * scale, box.top, (b - a) * scale, box.height);
  }

  canvasOf(tile) {
    if (tile.canvas) return tile.canvas;
    tile.canvas = document.createElement("canvas");
    [tile.canvas.width, tile.canvas.height] = [COLUMNS, ROWS];
    const pen = tile.canvas.getContext("2d");
    const image = pen.createImageData(COLUMNS, ROWS);
    const pixels = new Uint32Array(image.data.buffer);
    for (let column = 0; column < COLUMNS; column += 1) {
      for (let row = 0; row < ROWS; row += 1) pixels[(ROWS - 1 - row) * COLUMNS + column] = this.palette[tile.codes[column * ROWS + row]];
    }
    pen.putImageData(image, 0, 0);
    return tile.canvas;
  }

  want(wanted, ahead) {
    this.wanted = wanted;
    this.ahead = ahead;
    const keys = new Set([...wanted, ...ahead].map(({ level, index }) => this.key(level, index)));
    for (const [key, asked] of this.asked) if (!keys.has(key)) asked.abort();
    clearTimeout(this.resting);
    this.next();
    if (!this.wanted.length) this.resting = setTimeout(() => this.fetchAhead(), AHEAD_MS);
  }

  next() {
    if (this.idle) return;
    for (const { level, index } of this.wanted) {
      if (this.asked.size >= (this.begun ? AT_ONCE : 1)) return;
      const key = this.key(level, index);
      const known = this.tiles.get(key);
      if (!this.asked.has(key) && !(known && (!known.rough || performance.now() < known.again))) this.ask(key, level, index);
    }
  }

  // One at a time, and only while nothing that is seen is missing.
  fetchAhead() {
    if (this.idle || this.asked.size || document.hidden || this.tookMs > QUICK_MS) return;
    const next = this.ahead.find(({ level, index }) => !this.tiles.has(this.key(level, index)));
    if (next) this.ask(this.key(next.level, next.index), next.level, next.index);
  }

  // What could not be had is asked for again, but not at once: a monitor in trouble is not to be hurried.
  pause() {
    this.pausedUntil = performance.now() + FAILED_AGAIN_MS;
    setTimeout(this.changed, FAILED_AGAIN_MS + 20);
  }

  get idle() {
    return Boolean(this.problem) || performance.now() < this.pausedUntil;
  }

  async ask(key, level, index) {
    const asked = new AbortController();
    this.asked.set(key, asked);
    const tileS = this.tileS(level);
    const begun = performance.now();
    const part = new URLSearchParams({ from: index * tileS, to: (index + 1) * tileS, columns: COLUMNS, rows: ROWS, axis: this.axis, high: this.top });
    try {
      const response = await fetch(`${this.base}/spectrogram?${part}`, { signal: asked.signal });
      if (response.ok) this.take(key, new Uint8Array(await response.arrayBuffer()), response.headers.get("Shopmon-Rough") === "1", performance.now() - begun);
      else if (response.status < 500) this.problem = (await response.json()).error;
      else this.pause();
    } catch {
      if (!asked.signal.aborted) this.pause(); // the monitor does not answer
    } finally {
      this.asked.delete(key);
      this.changed();
    }
  }

  take(key, codes, rough, took) {
    this.tookMs += 0.4 * (took - this.tookMs);
    this.tiles.delete(key);
    this.tiles.set(key, { codes, rough, again: performance.now() + ROUGH_AGAIN_MS, canvas: null });
    if (rough) setTimeout(this.changed, ROUGH_AGAIN_MS + 20);
    if (this.quiet === null) this.level(codes);
    for (const old of this.tiles.keys()) {
      if (this.tiles.size <= MOST_TILES) break;
      if (old.endsWith(" 0")) continue; // first of their row, and among them the whole
      this.tiles.delete(old);
    }
  }

  // The middle of what is seen first is paper, its loudest thousandth is ink.
  level(codes) {
    const heard = codes.filter((code) => code > 0).sort();
    if (!heard.length) return;
    this.quiet = heard[Math.floor(heard.length * 0.75)];
    this.loud = heard[Math.floor(heard.length * 0.999)];
    this.recolour();
  }

  get isRough() {
    return this.wanted.some(({ level, index }) => this.tiles.get(this.key(level, index))?.rough);
  }
}
