// The stretch of time that is seen: from the whole recording down to single turns of the spindle.

const LEAST_S = 0.004;

export class Span {
  constructor(wholeS) {
    this.whole = wholeS;
    this.from = 0;
    this.to = wholeS;
  }

  get length() {
    return this.to - this.from;
  }

  get isWhole() {
    return this.length >= this.whole * 0.999;
  }

  show(from, to) {
    const length = Math.min(Math.max(to - from, Math.min(LEAST_S, this.whole)), this.whole);
    this.from = Math.min(Math.max(0, from), this.whole - length);
    this.to = this.from + length;
  }

  grow(whole) {
    const seen = this.isWhole;
    this.whole = whole;
    this.show(this.from, seen ? whole : this.to);
  }

  // `factor` below 1 goes nearer; what is at `second` stays where it is.
  zoom(factor, second) {
    const length = Math.min(Math.max(this.length * factor, Math.min(LEAST_S, this.whole)), this.whole);
    const share = (second - this.from) / this.length;
    this.show(second - share * length, second + (1 - share) * length);
  }

  move(seconds) {
    this.show(this.from + seconds, this.to + seconds);
  }

  // Go along so that `second` is seen; true when that moved anything.
  follow(second) {
    if (second >= this.from && second <= this.to) return false;
    this.show(second - 0.05 * this.length, second + 0.95 * this.length);
    return true;
  }
}
