// *Mark on the wall*: what to expect, a measured spacing, and marks in a photograph.

import { say } from "../../look/shared.js";
import { Points, drawMarks } from "./wall-picture.js";

const part = (id) => document.getElementById(id);
const section = part("wall");
const cut = `/api/cuts/${section.dataset.cut}`;
const factor = Number(section.dataset.factor);
const LARGEST_BYTES = 8 * 2 ** 20;
const LARGEST_PIXELS = 16e6;
const PATIENCE_MS = 90000;
const CLICK_PX = 2; // how well a place is touched, in pixels of the screen
let photo = null;
let touched = null; // uncertainty of a scale that was touched

async function ask(address, body, type = "application/json") {
  let response;
  try {
    response = await fetch(address, {
      method: "POST", headers: { "Content-Type": type }, body: type === "application/json" ? JSON.stringify(body) : body,
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
  } catch {
    throw new Error("The monitor did not answer. Wait until this screen is connected, then touch again.");
  }
  const answer = await response.json().catch(() => ({}));
  if (response.ok) return answer;
  throw new Error([answer.error || `The monitor refused (${response.status}).`, answer.hint].filter(Boolean).join(" "));
}

// A comma is a decimal point here, and lengths go to the monitor in mm.
function valueOf(field) {
  const text = field.value.trim().replace(",", ".");
  field.ariaInvalid = "false";
  if (!text) return null;
  const value = Number(text);
  if (Number.isFinite(value)) return "length" in field.dataset ? value * factor : value;
  field.ariaInvalid = "true";
  field.focus();
  throw new Error(`“${field.value.slice(0, 40)}” is no number.`);
}

function told() {
  const values = {};
  for (const field of part("wall-cut").elements) {
    if (!field.name || (field.dataset.was && field.dataset.was === field.value.trim())) continue;
    const value = valueOf(field);
    if (value !== null) values[field.name] = value;
  }
  return values;
}

function list(target, texts) {
  target.replaceChildren(...texts.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
}

function showExpected(expected) {
  list(part("wall-expected"), expected.map((each) => each.text));
  part("wall-missing").hidden = expected.length > 0;
}

function whenSent(form, answer, work) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (form.ariaBusy === "true") return;
    form.ariaBusy = "true";
    say(answer, "Working …");
    try {
      say(answer, (await work(form)) ?? "");
    } catch (error) {
      say(answer, error.message);
    } finally {
      form.ariaBusy = "false";
    }
  });
}

const missing = part("wall-missing");
part("wall-cut").addEventListener("submit", async (event) => {
  event.preventDefault();
  try {
    const answer = await ask(`${cut}/wall`, told());
    showExpected(answer.expected);
    if (!answer.expected.length) say(missing, "Speed, flutes and table feed are needed.");
  } catch (error) {
    missing.hidden = false;
    say(missing, error.message);
  }
});

whenSent(part("wall-spacing"), part("wall-spacing-answer"), async (form) => {
  const spacing = valueOf(form.elements.spacing_mm);
  if (spacing === null) throw new Error("Measure from mark to mark, best over ten marks, and enter it.");
  return (await ask(`${cut}/wall/spacing`, { ...told(), spacing_mm: spacing })).text;
});

// A photograph is drawn anew: upright, and without the place where it was taken. PNG stays as it is.
async function readyToSend(file) {
  if (file.type === "image/png" && file.size <= LARGEST_BYTES) return { blob: file, scale: 1 };
  const picture = await createImageBitmap(file).catch(() => {
    throw new Error("This is no picture that can be shown here. Take a JPEG, PNG or WebP picture.");
  });
  const scale = Math.min(1, Math.sqrt(LARGEST_PIXELS / (picture.width * picture.height)));
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [Math.round(picture.width * scale), Math.round(picture.height * scale)];
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  for (const quality of [0.93, 0.8, 0.6]) {
    const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", quality));
    if (blob && blob.size <= LARGEST_BYTES) return { blob, scale };
  }
  throw new Error("The picture is too large. Cut out the part with the marks.");
}

const choose = document.querySelector("#wall-photo [type=file]");
const unchosen = part("wall-chosen").textContent;
const showChosen = () => say(part("wall-chosen"), choose.files[0]?.name.slice(0, 60) ?? unchosen);
choose.addEventListener("change", showChosen);

whenSent(part("wall-photo"), part("wall-photo-answer"), async (form) => {
  const file = form.querySelector("[type=file]").files[0];
  if (!file) throw new Error("No photograph was chosen.");
  const note = form.elements.note.value.trim();
  const { blob, scale } = await readyToSend(file);
  const { id } = await ask(`${cut}/photos?note=${encodeURIComponent(note)}`, blob, blob.type);
  const item = document.createElement("li");
  const button = Object.assign(document.createElement("button"), { type: "button" });
  Object.assign(button.dataset, { photo: id, question: "{}", result: "null" });
  const image = Object.assign(document.createElement("img"), { src: `/api/cuts/photos/${id}`, alt: "" });
  const words = Object.assign(document.createElement("span"), { textContent: `Open this photograph${note && `: ${note}`}` });
  button.append(image, words);
  item.append(button, Object.assign(document.createElement("p"), { textContent: "Not measured yet." }));
  part("wall-photos").prepend(item);
  form.reset();
  showChosen();
  open(button);
  const smaller = scale < 1 ? ` It was made smaller: one pixel of it is ${(1 / scale).toPrecision(4)} of your file, so take a scale that you know in µm per pixel times that.` : "";
  return `The photograph is kept. Set the scale and measure.${smaller}`;
});

// the picture

const image = document.querySelector("#wall-picture img");
const measuring = part("wall-measure");
const points = new Points(part("wall-over"), image, () => {
  const pixels = points.distance("rule");
  try {
    const length = valueOf(measuring.elements.rule);
    if (pixels > 0 && length) {
      measuring.elements.um_per_pixel.value = ((1000 * length * factor) / pixels).toPrecision(4);
      touched = Math.min(0.5, Math.max(0.003, (CLICK_PX * points.pixelsOfScreen()) / pixels));
    }
  } catch {
    touched = null;
  }
});
measuring.elements.um_per_pixel.addEventListener("input", () => { touched = null; });
measuring.elements.rule.addEventListener("input", () => points.changed());
for (const radio of document.getElementsByName("wall-mode")) radio.addEventListener("change", () => points.use(radio.value));
part("wall-larger").addEventListener("click", (event) => {
  const larger = part("wall-picture").classList.toggle("larger");
  event.currentTarget.ariaPressed = String(larger);
  points.draw();
});

function open(button) {
  photo = button;
  const question = JSON.parse(button.dataset.question);
  const result = JSON.parse(button.dataset.result);
  part("wall-bench").hidden = true;
  measuring.elements.um_per_pixel.value = question.um_per_pixel ?? "";
  touched = question.scale_share ?? null;
  image.onerror = () => say(part("wall-photo-answer"), "This photograph cannot be shown. It may be gone from the disk.");
  image.onload = () => {
    part("wall-bench").hidden = false;
    points.begin(question.region_px);
    show(result);
    part("wall-bench").scrollIntoView({ block: "nearest" });
  };
  image.src = `/api/cuts/photos/${button.dataset.photo}`;
}

function show(result) {
  drawMarks(part("wall-over"), image, result);
  say(part("wall-verdict"), result?.text ?? "");
  list(part("wall-notices"), (result?.notices ?? []).map((notice) => `${notice.text} ${notice.hint}`));
  list(part("wall-marks"), (result?.marks ?? []).map((marks) => marks.text));
  part("wall-all").hidden = !result?.marks?.length;
}

part("wall-photos").addEventListener("click", (event) => {
  const button = event.target.closest("[data-photo]");
  if (button) open(button);
});

whenSent(measuring, part("wall-verdict"), async (form) => {
  const scale = valueOf(form.elements.um_per_pixel);
  if (scale === null) throw new Error("Touch two lines of the rule in the picture, or enter µm per pixel.");
  const question = { ...told(), um_per_pixel: scale };
  if (touched) question.scale_share = touched;
  const region = points.region();
  if (region) question.region_px = region;
  const feed = points.feedDirection();
  if (feed !== null) question.feed_direction_deg = feed;
  const result = await ask(`/api/cuts/photos/${photo.dataset.photo}/marks`, question);
  Object.assign(photo.dataset, { question: JSON.stringify(question), result: JSON.stringify(result) });
  say(photo.parentElement.querySelector("p"), result.text);
  if (result.expected.length) showExpected(result.expected);
  show(result);
  return result.text;
});
