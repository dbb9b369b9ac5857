// The page of a cut: picture, lanes, cursor and sound held together. Other sections follow the cursor by the
// event "moment" of #review, and move it with buttons that carry data-seek (and data-silent, to look and not to hear).

import { decibels, grouped, say } from "../../look/shared.js";
import { drawComb, drawStrays, drawTime, drawUpwards, moment } from "./axes.js";
import { Board } from "./board.js";
import { Gestures } from "./gestures.js";
import { Lanes } from "./lanes.js";
import { Moment } from "./moment.js";
import { Picture } from "./picture.js";
import { Player } from "./player.js";
import { Span } from "./span.js";

const part = (id) => document.getElementById(id);
const NEARER = 0.5;

class Review {
  constructor(root) {
    this.root = root;
    this.sight = part("sight");
    this.board = new Board(part("lanes-canvas"));
    this.over = part("cursor-canvas");
    this.overPen = this.over.getContext("2d");
    this.span = new Span(Math.max(0.1, Number(root.dataset.duration)));
    this.cursor = Number(root.dataset.start);
    this.picture = new Picture(root.dataset.base, () => this.draw());
    if (!("sound" in root.dataset)) this.picture.problem = "silent";
    this.lanes = new Lanes(root.dataset.base, () => this.draw());
    this.player = part("sound") ? new Player(part("sound"), (what) => this.played(what)) : null;
    this.moment = this.player ? new Moment(root.dataset.base, this) : null;
    this.asked = 0;
    this.steps = [];
    this.colours();
    new ResizeObserver(() => this.resize()).observe(this.sight);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.colours());
    new Gestures(this.sight, this);
    this.tie();
    this.begin();
  }

  async begin() {
    try {
      const told = await this.lanes.begin();
      this.span.grow(told.duration_s);
      this.sight.setAttribute("aria-valuemax", told.duration_s.toFixed(1));
      part("review-messages").replaceChildren(...told.messages.map((text) => Object.assign(document.createElement("p"), { textContent: text })));
      this.axisChosen();
      if (!told.strays.length) for (const choice of document.querySelectorAll("[name=only][value=strays]")) choice.disabled = true;
    } catch (error) {
      say(part("review-problem"), error.message);
    }
    this.move(Math.min(this.cursor, this.span.whole));
  }

  colours() {
    this.board.recolour();
    this.moment?.paint();
    this.picture.colour(this.board.rgb("fall-low"), this.board.rgb("fall-high"));
  }

  resize() {
    this.board.resize();
    this.over.width = this.board.canvas.width;
    this.over.height = this.board.canvas.height;
    this.paint(); // at once: another size leaves the canvas black
  }

  // One frame at most for whatever happened since the last.
  draw(event) {
    if (event) this.steps.push(event.timeStamp ?? performance.now());
    if (this.asked) return;
    this.asked = requestAnimationFrame(() => {
      this.asked = 0;
      this.paint();
    });
  }

  paint() {
    if (!this.board.width) return;
    const { board, span, picture, lanes } = this;
    board.begin();
    const box = board.boxes.picture;
    const drawn = picture.draw(board.pen, box, span, this.cursor);
    board.frame(box, "");
    if (picture.problem) board.note(box, "no picture: the sound is not there");
    drawTime(board, span);
    drawUpwards(board, picture.axis, picture.top);
    if (lanes.told) drawStrays(board, lanes.told.strays, span, picture.axis, picture.top, (at) => lanes.rotation(at));
    lanes.draw(board, board.boxes, span);
    lanes.look(span);
    part("rough").hidden = !picture.isRough;
    this.paintCursor();
    this.measure(drawn);
  }

  // Whether there is something to look at: what takes long may be asked for now.
  get ready() {
    return this.seen || Boolean(this.picture.problem);
  }

  // What the benchmark reads from the browser's own clock.
  measure({ whole, covered }) {
    for (const begun of this.steps.splice(0)) performance.measure("review-step", { start: begun, end: performance.now() });
    if (covered && !this.seen && this.lanes.told) {
      this.seen = true;
      performance.mark("review-first-picture");
    }
    this.root.dataset.whole = whole;
  }

  paintCursor() {
    const { board, overPen: pen, span } = this;
    if (!board.boxes) return; // not laid out yet
    pen.setTransform(board.scale, 0, 0, board.scale, 0, 0);
    pen.clearRect(0, 0, board.width, board.height);
    drawComb(board, pen, this.picture.axis, this.picture.top, this.lanes.rotation(this.cursor), this.lanes.told?.flutes);
    const x = board.x(span, this.cursor);
    if (x < board.left - 1 || x > board.right + 1) return;
    for (const [colour, width] of [["sheet", 5], ["ink", 2]]) {
      pen.strokeStyle = board.colours[colour];
      pen.lineWidth = width;
      pen.beginPath();
      for (const { top, height } of Object.values(board.boxes)) { // not through the names of the lanes
        pen.moveTo(x, top);
        pen.lineTo(x, top + height);
      }
      pen.stroke();
    }
    pen.fillStyle = board.colours.ink;
    pen.beginPath();
    pen.moveTo(x, board.boxes.picture.top);
    pen.lineTo(x - 7, board.boxes.picture.top - 11);
    pen.lineTo(x + 7, board.boxes.picture.top - 11);
    pen.fill();
  }

  // The cursor moves; the sound goes along unless it is what moved it.
  move(second, { heard = false } = {}) {
    this.cursor = Math.min(Math.max(0, second), this.span.whole);
    this.root.dataset.at = this.cursor;
    if (!heard) this.player?.seek(this.cursor);
    if (this.span.follow(this.cursor)) this.draw();
    else this.paintCursor();
    this.tell();
    this.moment?.look(this.cursor);
    this.root.dispatchEvent(new CustomEvent("moment", { detail: { second: this.cursor, playing: this.player?.playing ?? false } }));
  }

  tell() {
    this.sight.setAttribute("aria-valuenow", this.cursor.toFixed(2));
    say(part("here-time"), moment(this.cursor, 5));
    if (!this.lanes.told) return;
    const here = this.lanes.at(this.cursor);
    const state = here.chatter ? "chatter" : here.engaged ? "in metal" : "not in metal";
    const ring = here.chatter?.frequency_hz ? ` at ${grouped(here.chatter.frequency_hz)}\u00a0Hz` : "";
    say(part("here-state"), state + ring);
    say(part("here-speed"), here.rpm === null ? "not heard" : `${grouped(here.rpm, 5)}\u00a0rpm`);
    for (const [id, value] of [["comb", here.comb_db], ["stray", here.stray_db], ["level", here.level_db]]) say(part(`here-${id}`), decibels(value ?? NaN));
    const text = [moment(this.cursor, 5), part("here-state").textContent, part("here-speed").textContent, `comb ${part("here-comb").textContent}`, `stray ${part("here-stray").textContent}`];
    this.sight.setAttribute("aria-valuetext", text.join(", "));
  }

  zoom(factor, second, event) {
    this.span.zoom(factor, second ?? this.cursor);
    this.draw(event);
  }

  pan(seconds, event) {
    this.span.move(seconds);
    this.draw(event);
  }

  showAll(event) {
    this.span.show(0, this.span.whole);
    this.draw(event);
  }

  played(what) {
    const playing = this.player.playing;
    part("play").setAttribute("aria-pressed", playing);
    say(part("play-word"), playing ? "Pause" : "Play");
    if (what === "error" && this.player.audio.error) say(part("play-problem"), "This sound cannot be played; the file may be damaged or away.");
    if (what === "playing") {
      say(part("play-problem"), "");
      cancelAnimationFrame(this.running);
      this.run();
    }
  }

  run() {
    if (!this.player.playing) return this.move(this.player.audio.currentTime, { heard: true });
    this.move(this.player.audio.currentTime, { heard: true });
    this.running = requestAnimationFrame(() => this.run());
  }

  axisChosen() {
    const axis = document.querySelector("[name=axis]:checked").value;
    const reach = Number(document.querySelector("[name=reach]:checked").value);
    const rate = this.lanes.told?.sample_rate_hz;
    const hertz = reach || (rate ? rate / 2 : 24_000);
    const turn = (this.lanes.told?.rpm ?? 12_000) / 60;
    this.picture.choose(axis, axis === "orders" ? Math.max(4, Math.round(hertz / turn)) : hertz);
    this.moment?.paint();
    this.draw();
  }

  tie() {
    for (const choice of document.querySelectorAll("[name=axis], [name=reach]")) choice.addEventListener("change", () => this.axisChosen());
    const does = {
      nearer: (event) => this.zoom(NEARER, undefined, event),
      wider: (event) => this.zoom(1 / NEARER, undefined, event),
      whole: (event) => this.showAll(event),
      fainter: () => this.picture.brighten(-4),
      louder: () => this.picture.brighten(4),
    };
    for (const [id, action] of Object.entries(does)) part(id).addEventListener("click", action);
    if (this.player) {
      part("play").addEventListener("click", () => this.player.toggle());
      for (const choice of document.querySelectorAll("[name=slow]")) choice.addEventListener("change", () => this.player.slow(Number(choice.value)));
      for (const choice of document.querySelectorAll("[name=only]")) choice.addEventListener("change", () => this.player.listen(choice.value));
    }
    document.addEventListener("click", ({ target }) => {
      const button = target.closest("[data-seek]");
      if (!button || !this.root.isConnected) return;
      this.move(Number(button.dataset.seek));
      if (!("silent" in button.dataset)) this.player?.play();
    });
  }
}

if (part("review")) new Review(part("review"));
