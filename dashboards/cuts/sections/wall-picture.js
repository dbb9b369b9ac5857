// What lies over the photograph: two points for scale, part and feed, and the marks that were found.

const SVG = "http://www.w3.org/2000/svg";
const MODES = { rule: "Line of the rule", part: "Corner of the part", feed: "Feed, point" };
const LINES_SHOWN = 9;
const RADIUS = 14; // of a point, in pixels of the screen

function element(name, attributes, parent) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  parent.append(made);
  return made;
}

// Dark on a white edge: seen on bright metal and on dark.
function line(group, shape, attributes, kind, width) {
  element(shape, { ...attributes, class: `wall-line halo ${kind}`, "stroke-width": 2.6 * width }, group);
  element(shape, { ...attributes, class: `wall-line ${kind}`, "stroke-width": width }, group);
}

export class Points {
  constructor(svg, image, changed) {
    Object.assign(this, { svg, image, changed, mode: "rule", at: { rule: [], part: [], feed: [] } });
    this.group = element("g", {}, svg);
    svg.addEventListener("click", (event) => this.touch(event));
    svg.addEventListener("keydown", (event) => this.key(event));
    addEventListener("resize", () => this.draw());
  }

  begin(region) {
    const { naturalWidth: width, naturalHeight: height } = this.image;
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.at = { rule: [], part: [], feed: [] };
    if (region) this.at.part = [[region[0], region[1]], [region[0] + region[2], region[1] + region[3]]];
    this.draw();
  }

  use(mode) {
    this.mode = mode;
    // someone without a pointer needs something to move
    if (!this.at[mode].length) {
      const { naturalWidth: width, naturalHeight: height } = this.image;
      this.at[mode] = mode === "part" ? [[0, 0], [width, height]] : [[0.3 * width, height / 2], [0.7 * width, height / 2]];
    }
    this.draw();
    this.changed();
  }

  pixelsOfScreen() {
    return this.image.naturalWidth / Math.max(1, this.image.clientWidth);
  }

  touch(event) {
    const box = this.svg.getBoundingClientRect();
    const { naturalWidth: width, naturalHeight: height } = this.image;
    const place = [((event.clientX - box.left) / box.width) * width, ((event.clientY - box.top) / box.height) * height];
    const known = this.at[this.mode];
    const away = known.map(([x, y]) => Math.hypot(x - place[0], y - place[1]));
    if (known.length < 2) known.push(place);
    else known[away[0] < away[1] ? 0 : 1] = place;
    this.draw();
    this.changed();
  }

  key(event) {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const index = Number(event.target.dataset?.point ?? -1);
    if (!step || index < 0) return;
    event.preventDefault();
    const far = (event.shiftKey ? 10 : 1) * Math.max(1, this.pixelsOfScreen());
    const { naturalWidth: width, naturalHeight: height } = this.image;
    const [x, y] = this.at[this.mode][index];
    this.at[this.mode][index] = [
      Math.min(width, Math.max(0, x + far * step[0])), Math.min(height, Math.max(0, y + far * step[1])),
    ];
    this.draw();
    this.changed();
    this.svg.querySelector(`[data-point="${index}"]`).focus();
  }

  distance(mode) {
    const [from, to] = this.at[mode];
    return to ? Math.hypot(to[0] - from[0], to[1] - from[1]) : 0;
  }

  region() {
    const [from, to] = this.at.part;
    if (!to) return null;
    const { naturalWidth: width, naturalHeight: height } = this.image;
    const low = [0, 1].map((axis) => Math.max(0, Math.round(Math.min(from[axis], to[axis]))));
    const high = [0, 1].map((axis) => Math.min([width, height][axis], Math.round(Math.max(from[axis], to[axis]))));
    const whole = low[0] === 0 && low[1] === 0 && high[0] === width && high[1] === height;
    return whole ? null : [low[0], low[1], high[0] - low[0], high[1] - low[1]];
  }

  feedDirection() {
    const [from, to] = this.at.feed;
    if (!to || this.distance("feed") < 5) return null;
    return (Math.atan2(from[1] - to[1], to[0] - from[0]) * 180) / Math.PI;
  }

  draw() {
    const unit = this.pixelsOfScreen();
    this.group.replaceChildren();
    for (const [mode, known] of Object.entries(this.at)) {
      if (known.length < 2 || (mode !== this.mode && mode === "rule")) continue;
      const [[x1, y1], [x2, y2]] = known;
      if (mode === "part") {
        const box = { x: Math.min(x1, x2), y: Math.min(y1, y2), width: Math.abs(x2 - x1), height: Math.abs(y2 - y1) };
        line(this.group, "rect", box, mode, 2 * unit);
      } else line(this.group, "line", { x1, y1, x2, y2 }, mode, 2 * unit);
    }
    this.at[this.mode].forEach(([cx, cy], index) => {
      element("circle", { cx, cy, r: RADIUS * unit, class: "wall-point halo", "stroke-width": 5 * unit }, this.group);
      element("circle", {
        cx, cy, r: RADIUS * unit, class: "wall-point", "stroke-width": 2 * unit, "pointer-events": "none", tabindex: 0, role: "button",
        "aria-label": `${MODES[this.mode]} ${index + 1}, ${Math.round(cx)} to the right, ${Math.round(cy)} down`, "data-point": index,
      }, this.group);
    });
  }
}

// The lines of the marks about the middle, and an arrow in the direction in which their distance is measured.
export function drawMarks(svg, image, result) {
  svg.querySelector(".wall-marks")?.remove();
  const marks = result?.marks?.find((each) => each.spacing_mm === result.spacing_mm) ?? result?.marks?.[0];
  if (!marks || marks.direction_deg === null || !result.picture) return;
  const group = element("g", { class: "wall-marks", "pointer-events": "none" }, svg);
  const { width_px: width, height_px: height, um_per_pixel: scale, region_px: region } = result.picture;
  const [left, top, wide, high] = region ?? [0, 0, width, height];
  const unit = image.naturalWidth / Math.max(1, image.clientWidth);
  const period = (1000 * marks.period_mm) / scale;
  const turn = (marks.direction_deg * Math.PI) / 180;
  const [ux, uy] = [Math.cos(turn), -Math.sin(turn)];
  const [x, y] = [left + wide / 2, top + high / 2];
  const half = Math.min(wide, high) * 0.3;
  for (let index = 0; index < LINES_SHOWN; index += 1) {
    const away = (index - (LINES_SHOWN - 1) / 2) * period;
    if (Math.abs(away) > Math.hypot(wide, high) / 2) continue;
    const [cx, cy] = [x + away * ux, y + away * uy];
    line(group, "line", { x1: cx - half * uy, y1: cy + half * ux, x2: cx + half * uy, y2: cy - half * ux }, "mark", unit);
  }
  const reach = ((LINES_SHOWN - 1) / 2) * period;
  const [tipX, tipY] = [x + reach * ux, y + reach * uy];
  const size = 12 * unit;
  const arrow = [[-1, 0.5], [0, 0], [-1, -0.5]]
    .map(([a, b]) => `${tipX + size * (a * ux - b * uy)},${tipY + size * (a * uy + b * ux)}`).join(" ");
  line(group, "line", { x1: x - reach * ux, y1: y - reach * uy, x2: tipX, y2: tipY }, "across", 2 * unit);
  line(group, "polyline", { points: arrow }, "across", 2 * unit);
}
