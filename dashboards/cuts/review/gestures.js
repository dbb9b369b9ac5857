// Touch, mouse, wheel and keys on the picture: a touch puts the cursor, a drag goes along, two fingers zoom.

const STILL_PX = 6;
const WHEEL = 0.0016;
const SMALL = 0.01;
const LARGE = 0.1;

export class Gestures {
  constructor(sight, review) {
    this.sight = sight;
    this.review = review;
    this.fingers = new Map();
    this.moved = false;
    sight.addEventListener("pointerdown", (event) => this.down(event));
    sight.addEventListener("pointermove", (event) => this.drag(event));
    for (const name of ["pointerup", "pointercancel"]) sight.addEventListener(name, (event) => this.up(event));
    sight.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    sight.addEventListener("keydown", (event) => this.key(event));
  }

  x(event) {
    return event.clientX - this.sight.getBoundingClientRect().left;
  }

  second(x) {
    return this.review.board.second(this.review.span, x);
  }

  down(event) {
    if (event.button) return;
    this.sight.setPointerCapture(event.pointerId);
    if (!this.fingers.size) this.moved = false;
    this.fingers.set(event.pointerId, { x: this.x(event), begun: this.x(event) });
  }

  drag(event) {
    const finger = this.fingers.get(event.pointerId);
    if (!finger) return;
    const before = [...this.fingers.values()].map((each) => each.x);
    finger.x = this.x(event);
    if (Math.abs(finger.x - finger.begun) > STILL_PX || this.fingers.size > 1) this.moved = true;
    if (!this.moved) return;
    const after = [...this.fingers.values()].map((each) => each.x);
    if (after.length > 1) this.pinch(before, after, event);
    else this.review.pan(this.second(before[0]) - this.second(after[0]), event);
  }

  pinch(before, after, event) {
    const middle = (xs) => (xs[0] + xs[1]) / 2;
    const apart = (xs) => Math.max(20, Math.abs(xs[0] - xs[1]));
    const held = this.second(middle(before));
    this.review.span.zoom(apart(before) / apart(after), held);
    this.review.pan(held - this.second(middle(after)), event);
  }

  up(event) {
    const finger = this.fingers.get(event.pointerId);
    this.fingers.delete(event.pointerId);
    if (finger && !this.moved && event.type === "pointerup") this.review.move(this.second(finger.x));
  }

  // Sideways goes along, up and down zooms; where there is nothing wider to show, the page scrolls.
  wheel(event) {
    const { review } = this;
    const sideways = event.shiftKey ? event.deltaY || event.deltaX : Math.abs(event.deltaX) > Math.abs(event.deltaY) ? event.deltaX : 0;
    if (!sideways && event.deltaY > 0 && review.span.isWhole) return;
    event.preventDefault();
    const unit = event.deltaMode ? 30 : 1;
    if (sideways) review.pan((sideways * unit * review.span.length) / review.board.width, event);
    else review.zoom(Math.exp(Math.max(-1, Math.min(1, event.deltaY * unit * WHEEL))), this.second(this.x(event)), event);
  }

  key(event) {
    const { review } = this;
    const { span } = review;
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = span.length * (event.shiftKey ? LARGE : SMALL);
    const does = {
      ArrowLeft: () => review.move(review.cursor - step),
      ArrowRight: () => review.move(review.cursor + step),
      ArrowDown: () => review.zoom(2, undefined, event),
      ArrowUp: () => review.zoom(0.5, undefined, event),
      PageUp: () => this.page(-0.9, event),
      PageDown: () => this.page(0.9, event),
      Home: () => review.move(0),
      End: () => review.move(span.whole),
      "+": () => review.zoom(0.5, undefined, event),
      "=": () => review.zoom(0.5, undefined, event),
      "-": () => review.zoom(2, undefined, event),
      0: () => review.showAll(event),
      " ": () => review.player?.toggle(),
    };
    if (!does[event.key]) return;
    event.preventDefault();
    does[event.key]();
  }

  page(share, event) {
    const { review } = this;
    const by = share * review.span.length;
    review.pan(by, event);
    review.move(review.cursor + by);
  }
}
