// The numbers around the picture: seconds above, hertz or orders at the left, the comb at the right edge.

import { grouped } from "../../look/shared.js";

export const niceStep = (span, count) => {
  const raw = span / count;
  const power = 10 ** Math.floor(Math.log10(raw));
  return [1, 2, 5, 10].map((factor) => factor * power).find((step) => step >= raw);
};

// A moment as one reads it: minutes and seconds, with as many decimals as the span deserves.
export const moment = (second, length = 100) => {
  const digits = length > 100 ? 0 : length > 8 ? 1 : length > 0.8 ? 2 : length > 0.08 ? 3 : 4;
  const unit = 10 ** digits;
  const whole = Math.round(Math.max(0, second) * unit) / unit;
  const minutes = Math.floor(whole / 60);
  const rest = (whole - 60 * minutes).toFixed(digits);
  return minutes ? `${minutes}:${rest.padStart(digits ? digits + 3 : 2, "0")}` : `${rest}\u00a0s`;
};

export function drawTime(board, span) {
  const { pen, colours, text } = board;
  const box = board.boxes.picture;
  const step = niceStep(span.length, Math.max(2, box.width / (6 * text)));
  pen.fillStyle = colours.soft;
  pen.textAlign = "center";
  for (let at = Math.ceil(span.from / step) * step; at <= span.to; at += step) {
    const x = board.x(span, at);
    board.stroke(x, box.top - 5, x, box.top, colours.edge, 1);
    if (x > box.left + text && x < board.right - text) pen.fillText(moment(at, step * 8), x, box.top - text * 0.6);
  }
}

export function drawUpwards(board, axis, top) {
  const { pen, colours, text } = board;
  const box = board.boxes.picture;
  const kilo = axis === "hertz" && top > 1500;
  const step = niceStep(top, Math.max(2, box.height / (3.2 * text)));
  pen.fillStyle = colours.soft;
  pen.textAlign = "right";
  for (let at = step; at <= top * 0.98; at += step) {
    const y = box.top + box.height * (1 - at / top);
    board.stroke(box.left - 5, y, box.left, y, colours.edge, 1);
    pen.fillText(kilo ? String(Number((at / 1000).toPrecision(4))) : grouped(at, 6), box.left - 7, y + text * 0.35);
  }
  const name = axis === "orders" ? "order" : kilo ? "kHz" : "Hz";
  pen.fillText(name, box.left - 7, box.top + box.height);
}

// Lines of the rotation at the cursor's moment: a stroke for each, a wedge where the teeth pass.
export function drawComb(board, pen, axis, top, rotationHz, flutes) {
  if (!rotationHz) return;
  const box = board.boxes.picture;
  const apart = (axis === "orders" ? 1 / top : rotationHz / top) * box.height;
  pen.fillStyle = pen.strokeStyle = board.colours.deep;
  pen.lineWidth = 2;
  const x = board.right + 3;
  for (let order = 1; order * apart < box.height; order += 1) {
    const y = box.top + box.height - order * apart;
    const passing = flutes && order % flutes === 0;
    const half = Math.min(5, Math.max(2, apart * (flutes ?? 1) * 0.3));
    pen.beginPath();
    if (passing) {
      pen.moveTo(x, y);
      pen.lineTo(x + 1.7 * half, y - half);
      pen.lineTo(x + 1.7 * half, y + half);
      pen.fill();
    } else if (apart > 4) {
      pen.moveTo(x, y);
      pen.lineTo(x + 6, y);
      pen.stroke();
    }
  }
}

// Each stray tone in a frame, where it was found.
export function drawStrays(board, strays, span, axis, top, rotationAt) {
  const { pen, colours, text } = board;
  const box = board.boxes.picture;
  board.inside(box, () => {
    for (const tone of strays) {
      if (tone.end_s < span.from || tone.start_s > span.to) continue;
      const turn = axis === "orders" ? rotationAt((tone.start_s + tone.end_s) / 2) : 1;
      if (!turn) continue;
      const y = (hertz) => box.top + box.height * (1 - hertz / turn / top);
      const [x1, x2] = [board.x(span, tone.start_s), board.x(span, tone.end_s)];
      const middle = y(tone.frequency_hz);
      const half = Math.max(5, (y(tone.low_hz) - y(tone.high_hz)) / 2);
      if (middle + half < box.top) continue;
      pen.strokeStyle = colours.plum;
      pen.lineWidth = 2;
      pen.setLineDash(tone.kind === "chatter" ? [] : [6, 4]);
      pen.strokeRect(x1 - 2, middle - half, Math.max(4, x2 - x1 + 4), 2 * half);
      pen.setLineDash([]);
      const words = axis === "orders" ? (tone.frequency_hz / turn).toFixed(2) : `${grouped(tone.frequency_hz)}\u00a0Hz`;
      const left = Math.max(box.left, x1) + 4;
      if (Math.min(x2, board.right) - left > pen.measureText(words).width) board.plate(words, left, Math.max(box.top + text, middle - half - 4), colours.plum);
    }
  });
}
