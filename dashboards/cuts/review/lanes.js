// The lanes under the picture: what is known over time beside the sound itself.

import { grouped } from "../../look/shared.js";

const POINTS = 2400;
const WAIT_MS = 60;
const LEVEL_AGAIN_MS = 1500;

export const nearest = (times, second) => {
  let [low, high] = [0, times.length - 1];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (times[middle] < second) low = middle + 1;
    else high = middle;
  }
  return low > 0 && second - times[low - 1] < times[low] - second ? low - 1 : low;
};

export class Lanes {
  constructor(base, changed) {
    this.base = base;
    this.changed = changed;
    this.told = null;
    this.whole = null;
    this.waiting = 0;
  }

  async begin() {
    this.whole = this.told = await this.fetch("");
    this.scale();
    return this.told;
  }

  async fetch(part) {
    const response = await fetch(`${this.base}/lanes?points=${POINTS}${part}`);
    const told = await response.json();
    if (!response.ok) throw new Error(`${told.error} ${told.hint}`);
    return told;
  }

  // The scales belong to the whole cut, so that a lane does not jump while one moves along it.
  scale() {
    const { rpm, comb_db, stray_db, level_db } = this.whole.figures;
    const heard = rpm.filter((value) => value !== null);
    const middle = this.whole.rpm ?? 0;
    const reach = Math.max(0.01 * middle, ...heard.map((value) => Math.min(Math.abs(value - middle), 0.1 * middle)));
    this.speed = [middle - 1.15 * reach, middle + 1.15 * reach];
    const levels = [...comb_db, ...stray_db].filter((value) => value !== null && value > -120).sort((a, b) => a - b);
    this.energy = levels.length ? [10 * Math.floor(levels[Math.floor(levels.length / 20)] / 10), 10 * Math.ceil(levels.at(-1) / 10)] : [-80, 0];
    const loud = [...(this.whole.sound?.level_db ?? level_db)].filter((value) => value !== null && value > -120);
    this.loudness = [Math.min(-40, 10 * Math.floor(Math.min(...loud, -40) / 10)), 0];
  }

  // Fetch more where the view left what is known, or went much nearer than it.
  look(span) {
    if (!this.told) return;
    const known = this.told;
    const inside = span.from >= known.from_s - 1e-6 && span.to <= Math.min(known.to_s, span.whole) + 1e-6;
    const far = span.length * 7 < known.to_s - known.from_s;
    // the level of a long sound is there when its picture is
    const making = known.sound === null && known.picture_share !== null;
    if (inside && !far && !making) return;
    clearTimeout(this.waiting);
    this.waiting = setTimeout(() => this.more(span.from, span.to, span.whole), inside && !far ? LEVEL_AGAIN_MS : WAIT_MS);
  }

  async more(from, to, whole) {
    const length = to - from;
    const [first, last] = [Math.max(0, from - length), Math.min(whole, to + length)];
    const turn = (this.turn = (this.turn ?? 0) + 1);
    try {
      const told = await this.fetch(`&from=${first}&to=${last}`);
      if (turn !== this.turn) return; // one asked later is on its way, or here
      this.told = told;
      this.changed();
    } catch {
      // the next step asks again
    }
  }

  // The rotation at a time in hertz, null where it is not known.
  rotation(second) {
    const { t_s, rpm } = this.told?.figures ?? { t_s: [] };
    if (!t_s.length) return this.told?.rpm ? this.told.rpm / 60 : null;
    const value = rpm[nearest(t_s, second)];
    return value === null ? null : value / 60;
  }

  at(second) {
    const { t_s, ...series } = this.told.figures;
    const known = { rpm: null, comb_db: null, stray_db: null, level_db: null };
    if (t_s.length) for (const name of Object.keys(known)) known[name] = series[name][nearest(t_s, second)];
    const sound = this.told.sound;
    if (sound) known.level_db = sound.level_db[nearest(sound.t_s, second)];
    const within = (spans) => spans.find((span) => second >= (span.start_s ?? span[0]) && second < (span.end_s ?? span[1]));
    return { ...known, engaged: Boolean(within(this.told.engaged)), chatter: within(this.told.chatter), stray: within(this.told.strays) };
  }

  draw(board, boxes, span) {
    if (!this.told) return;
    this.speedLane(board, boxes.speed, span);
    this.energyLane(board, boxes.energy, span);
    this.soundLane(board, boxes.level, span);
    this.bandLane(board, boxes.bands, span);
  }

  speedLane(board, box, span) {
    board.frame(box, "Spindle speed, rpm");
    const { t_s, rpm } = this.told.figures;
    if (!t_s.length || !this.told.rpm) return board.note(box, "not heard");
    board.limits(box, [grouped(this.speed[1]), grouped(this.speed[0])]);
    board.line(box, span, t_s, rpm, this.speed, { colour: "ink", width: 2 });
  }

  energyLane(board, box, span) {
    board.frame(box, "Energy, dB", [["comb", "deep", []], ["stray", "plum", [7, 4]]]);
    const { t_s, comb_db, stray_db } = this.told.figures;
    if (!t_s.length) return board.note(box, "no figures were kept");
    board.limits(box, this.energy.toReversed().map((value) => String(value).replace("-", "−")));
    board.line(box, span, t_s, comb_db, this.energy, { colour: "deep", width: 2 });
    board.line(box, span, t_s, stray_db, this.energy, { colour: "plum", width: 2.5, dash: [7, 4] });
  }

  soundLane(board, box, span) {
    const sound = this.told.sound;
    // the wave itself, once it is known finely enough: of coarse points it would be nonsense
    const near = sound && span.length < 2.5 && sound.t_s[1] - sound.t_s[0] < span.length / 100;
    board.frame(box, near ? "Sound, share of full scale" : "Level, dB");
    if (near) return this.wave(board, box, span, sound);
    board.limits(box, this.loudness.toReversed().map((value) => String(value).replace("-", "−")));
    const { t_s, level_db } = sound ?? this.told.figures;
    board.line(box, span, t_s, level_db, this.loudness, { colour: "ink", width: 1.5, fill: true });
    if (sound) this.clipping(board, box, span, sound);
  }

  wave(board, box, span, sound) {
    const most = Math.max(0.001, ...sound.high.map(Math.abs), ...sound.low.map(Math.abs));
    board.limits(box, [most.toPrecision(1), `−${most.toPrecision(1)}`]);
    board.envelope(box, span, sound.t_s, sound.low, sound.high, most);
    this.clipping(board, box, span, sound);
  }

  clipping(board, box, span, sound) {
    sound.t_s.forEach((second, at) => {
      if (sound.clipped[at] > 0 && second >= span.from && second <= span.to) board.cross(board.x(span, second), box.top + 8);
    });
  }

  bandLane(board, box, span) {
    board.frame(box, "", [["in metal", "metal", null], ["chatter", "ring", null]]);
    const half = (box.height - 6) / 2;
    for (const [from, to] of this.told.engaged) board.band(span, from, to, box.top + 4 + half, half - 2, "metal");
    for (const ring of this.told.chatter) board.band(span, ring.start_s, ring.end_s, box.top + 3, half - 2, "ring");
    for (const mark of this.told.marks) board.flag(span, mark.t_s, box);
  }
}
