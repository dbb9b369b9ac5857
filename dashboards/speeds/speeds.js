// *Speeds*: says what is in the spindle, follows what is thought about, and reads the map at a touch.

import { grouped, request, say } from "../look/shared.js";
import { follow } from "./waiting.js";

const part = (id) => document.getElementById(id);
const FIELD = { left: 78, right: 626, top: 16, bottom: 408 };
const MM_PER_INCH = 25.4;

follow();

part("told").addEventListener("submit", async (event) => {
  event.preventDefault();
  const told = {};
  for (const field of event.target.elements) {
    if (!field.name || (field.type === "radio" && !field.checked)) continue;
    const text = field.value.trim();
    if (field.dataset.unit === undefined) told[field.name] = text || null;
    else if (text === field.defaultValue.trim()) continue; // what was not touched keeps every digit it has
    else told[field.name] = text ? Number(text.replace(",", ".")) * Number(field.dataset.unit) : null;
    if (Number.isNaN(told[field.name])) return say(part("told-problem"), `${field.labels[0].textContent}: '${text}' is no number. Type it in digits.`);
  }
  try {
    await request("/api/context", told);
    location.assign(location.pathname + location.search);
  } catch (error) {
    say(part("told-problem"), error.message);
  }
});

// The chance at a place of the map, between the speeds and depths that were computed.
function chance({ rpm, ap_mm: depths, probability_quiet: quiet }, n, ap) {
  const place = (values, value, by = (x) => x) => {
    const above = values.findIndex((each) => by(each) >= by(value));
    if (above <= 0) return above < 0 ? values.length - 1 : 0;
    return above - (by(values[above]) - by(value)) / (by(values[above]) - by(values[above - 1]));
  };
  const between = (row, at) => row[Math.floor(at)] + (at % 1) * ((row[Math.ceil(at)] ?? 0) - row[Math.floor(at)]);
  const [x, y] = [place(rpm, n), place(depths, ap, Math.log)];
  return between([Math.floor(x), Math.ceil(x)].map((column) => between(quiet[column], y)), x % 1);
}

document.addEventListener("click", (event) => {
  const picture = event.target.closest("#map-picture");
  if (!picture) return;
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(picture.getScreenCTM().inverse());
  const { rpmFrom, rpmTo, deepest } = part("map").dataset;
  const [across, up] = [(at.x - FIELD.left) / (FIELD.right - FIELD.left), (FIELD.bottom - at.y) / (FIELD.bottom - FIELD.top)];
  if (across < 0 || across > 1 || up <= 0 || up > 1) return;
  const n = Number(rpmFrom) + across * (Number(rpmTo) - Number(rpmFrom));
  const ap = up * Number(deepest);
  const share = chance(JSON.parse(part("map-numbers").textContent), n, ap);
  const inch = part("map-picture").dataset.unit === "in";
  const depth = inch ? `${(ap / MM_PER_INCH).toFixed(3)}\u00a0in` : `${ap.toPrecision(2)}\u00a0mm`;
  say(part("readout"), `At ${grouped(n, 3)}\u00a0rpm and ${depth}: ${Math.round(100 * Math.min(share, 0.99))}\u00a0% likely to be quiet.`);
});
