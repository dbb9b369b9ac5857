// *Now*: carries what the stream says onto the page. The words mirror look/words.py; a browser test compares them.

import { Live } from "../look/live.js";
import { clock, decibels, grouped, localTimes, refresh, say, setupWords, shape, timeOfDay } from "../look/shared.js";
import { Spectrum } from "./spectrum.js";
import "./clock.js";
import { showProgram } from "./program.js";
import "./setup.js";
import { spindleChanged } from "./spindle.js";

const part = (id) => document.getElementById(id);
const words = JSON.parse(part("words").textContent);
const SEVERITIES = { slight: 1, clear: 2, heavy: 3 };
const SILENT_DB = -80;
const picture = new Spectrum(part("drawing"));
let shown = document.body.dataset.state;
let noticed = null;
let ringing = null; // the open chatter, if any

const pointAt = (use, name) => shape(use.ownerSVGElement, name);

const hertz = (value) => `${grouped(value)}\u00a0Hz`;

function look(state, facts, unsure = false) {
  if (document.body.dataset.state !== state) {
    document.body.dataset.state = state;
    picture.recolour();
  }
  pointAt(part("state-shape"), state);
  say(part("state-word"), words[state].word);
  if (typeof facts === "string") say(part("state-facts"), facts);
  part("unsure").hidden = !unsure;
  document.title = `${words[state].word} – Now – shopmon`;
}

function severityBars(severity) {
  const bars = document.createElement("span");
  bars.className = "severity";
  bars.ariaHidden = "true";
  for (let step = 0; step < 3; step += 1) bars.append(document.createElement("i"));
  [...bars.children].slice(0, SEVERITIES[severity]).forEach((bar) => bar.classList.add("on"));
  return bars;
}

function chatterFacts({ severity, frequency_hz }) {
  const text = `${severity[0].toUpperCase()}${severity.slice(1)}, ${hertz(frequency_hz)}`;
  const place = part("state-facts");
  if (place.textContent !== text) place.replaceChildren(severityBars(severity), text);
  return text;
}

// One touch from the alarm to the advice for that very chatter.
function advice() {
  const id = ringing?.event_id;
  part("advice").hidden = !id;
  if (id) part("advice").setAttribute("href", `/speeds/event/${encodeURIComponent(id)}`);
}

// Said once per change of state: at once for chatter, politely otherwise.
function announce(state, facts, unsure) {
  if (state === shown) return;
  shown = state;
  const sentence = `${[words[state].word, facts.replace(/\.$/, ""), ...(unsure ? ["Not sure"] : [])].join(". ")}.`;
  part("say-now").textContent = state === "chatter" ? sentence : "";
  part("say-calm").textContent = state === "chatter" ? "" : sentence;
}

function told(state) {
  const speed = state.nominal_rpm ? `told ${grouped(state.nominal_rpm, 6)}` : "no speed told";
  return Number.isFinite(state.rpm) && state.rpm_confidence < 0.5 ? `${speed}, true speed in doubt` : speed;
}

function audioWhy({ keeping, hours_left, stopped, hint }) {
  if (keeping) return Number.isFinite(hours_left) ? `room for ${grouped(hours_left, 2)}\u00a0h` : "";
  return [stopped, hint].filter(Boolean).join(" ") || "No sound is coming in.";
}

function qualityOf(input) {
  if (!input.present) return "No input";
  const troubles = [];
  if (input.clipped_fraction) troubles.push("Clipped: too loud, move the microphone away or lower the gain");
  if (Number.isFinite(input.level_db) && input.level_db < SILENT_DB) troubles.push("Silent");
  if (input.gaps || input.overflows) troubles.push(`Lost samples: ${input.lost_s.toFixed(1)}\u00a0s so far`);
  return troubles.join(". ") || "Good";
}

function heard(state) {
  let comb = state.rpm ? `Comb every ${hertz(state.rpm / 60)}` : "No rotation heard";
  if (state.rpm && state.flutes) comb += `, tooth passing ${hertz((state.rpm / 60) * state.flutes)}`;
  const tones = state.stray.slice(0, 3).map((tone) => hertz(tone.frequency_hz)).join(", ");
  return `${comb}. ${tones ? `Stray: ${tones}` : "No stray tone"}.`;
}

function level(levelDb, peakDb) {
  const share = (value) => (Number.isFinite(value) ? Math.min(1, Math.max(0, (value + 90) / 90)) : 0);
  part("level").style.setProperty("--share", share(levelDb));
  part("level").style.setProperty("--peak", share(peakDb));
}

function input(state) {
  const quality = qualityOf(state.input);
  say(part("quality"), quality);
  pointAt(part("quality-shape"), quality === "Good" ? "ok" : "trouble");
  say(part("input-text"), state.input.text);
  const inUnit = state.input.in_unit ? ` · ${state.input.in_unit}` : "";
  say(part("level-text"), `${decibels(state.input.level_db)}, peak ${decibels(state.input.peak_db)}${inUnit}`);
  part("level").ariaValueNow = Math.round(state.input.level_db ?? -90);
  level(state.input.level_db, state.input.peak_db);
}

function figures(state) {
  say(part("rpm"), grouped(state.rpm));
  say(part("rpm-told"), told(state));
  say(part("clock"), clock(state.cut_time_s));
  part("clock").classList.toggle("long", state.cut_time_s >= 3600);
  say(part("clock-what"), state.cut_id ? "in this cut" : "no cut open");
  say(part("setup-words"), setupWords(state.nominal_rpm, state.flutes));
  Object.assign(part("setup").dataset, { rpm: state.nominal_rpm ?? "", flutes: state.flutes ?? "" });
  say(part("heard"), heard(state));
}

function audio(kept) {
  say(part("audio-word"), kept.keeping ? "Audio is being kept" : "Audio is not kept");
  say(part("audio-why"), audioWhy(kept));
  shape(part("audio").querySelector("svg"), kept.keeping ? "keeping" : "trouble");
}

// The tone of the alarm is marked even in moments in which no single line stands out there.
function rung({ state, stray }) {
  if (state !== "chatter" || !ringing) return [];
  return stray.some((tone) => Math.abs(tone.frequency_hz / ringing.frequency_hz - 1) < 0.02) ? [] : [ringing];
}

let refreshing;
const refreshSoon = () => {
  clearTimeout(refreshing);
  refreshing = setTimeout(() => refresh().catch(() => {}), 150);
};

function notices(list) {
  const codes = JSON.stringify(list);
  if (noticed !== null && codes !== noticed) refreshSoon();
  noticed = codes;
}

function onState(state) {
  ringing = (state.state === "chatter" && state.chatter) || null;
  const plain = state.state === "no-input" ? state.input.text : words[state.state].means;
  const facts = ringing ? chatterFacts(state.chatter) : plain;
  look(state.state, ringing ? null : facts, state.unsure);
  advice();
  announce(state.state, facts, state.unsure);
  figures(state);
  input(state);
  audio(state.audio);
  notices(state.notices);
  if (spindleChanged(state)) refreshSoon();
  showProgram(state);
  part("unset").hidden = state.clock_set;
  if (!state.input.present) picture.clear();
  veil(state.input.present ? (picture.history.length ? "" : "Waiting for sound.") : "No sound is coming in.");
}

function veil(text) {
  say(part("veil"), text);
  part("veil").hidden = !text;
}

// Nothing that was true a while ago may look true now: blank the figures and the picture.
function blank(state, facts) {
  look(state, facts);
  for (const id of ["rpm", "clock"]) say(part(id), "–");
  say(part("rpm-told"), "not known now");
  say(part("clock-what"), "not known now");
  say(part("heard"), "Nothing is heard now.");
  say(part("quality"), "Not known now");
  pointAt(part("quality-shape"), "trouble");
  say(part("level-text"), "–");
  say(part("input-text"), "");
  say(part("audio-word"), "Audio: not known now");
  say(part("audio-why"), "");
  level(null, null);
  picture.clear();
  veil(words[state].word);
  part("advice").hidden = true;
}

new Live("/api/stream", "/api/state", {
  state: onState,
  spectrum(message) {
    if (message.state === "no-input") return;
    picture.take({ ...message, stray: [...rung(message), ...message.stray] });
    veil("");
    level(message.level_db, message.peak_db);
  },
  log: refreshSoon,
  connecting() {
    if (shown !== "away" && this.begun) blank("connecting", words.connecting.means);
    this.begun = true;
  },
  away(since) {
    const facts = `No word from the monitor since ${timeOfDay(since)} – trying again.`;
    blank("away", facts);
    announce("away", facts);
  },
  back(wasLost) {
    if (wasLost) part("answer").textContent = `Connected again at ${timeOfDay(new Date())}. What happened meanwhile is under Last events.`;
    refreshSoon();
  },
  crowded(is) {
    if (is) veil("Too many screens are open for the moving picture. The state still follows every few seconds.");
  },
});

for (const group of ["axis", "range"]) {
  const chosen = localStorage.getItem(`now-${group}`);
  const inputs = [...part(group).querySelectorAll("input")];
  const before = inputs.find((each) => each.value === chosen);
  if (before) before.checked = true;
  part(group).addEventListener("change", (event) => {
    localStorage.setItem(`now-${group}`, event.target.value);
    choose();
  });
}

function choose() {
  const value = (group) => part(group).querySelector("input:checked").value;
  picture.choose(value("axis"), Number(value("range")));
}

choose();
localTimes();
