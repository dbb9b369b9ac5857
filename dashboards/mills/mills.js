// *End mills*: every form of these pages sends what was entered as JSON and says in words how it went.

import { request, say } from "../look/shared.js";

const MM_PER_INCH = 25.4;
const LARGEST_PX = 1600;
const inch = document.body.dataset.units === "inch";
const answer = document.getElementById("answer");
const STORED = "mills-said";

// Shop-floor keyboards have a comma where others have a point.
function numberOf(text, label) {
  const value = Number(text.replace(/^([^.,]*),([^.,]*)$/, "$1.$2"));
  if (Number.isFinite(value)) return value;
  throw new Error(`${label}: “${text}” is no number.`);
}

const sized = (value, factor) => Number((value * factor).toPrecision(12));

const READ = {
  text: (text) => text,
  number: numberOf,
  length: (text, label) => sized(numberOf(text, label), inch ? MM_PER_INCH : 1),
  // a dial indicator reads twice the eccentricity
  indicator: (text, label) => sized(numberOf(text, label), (inch ? 1000 * MM_PER_INCH : 1) / 2),
};

const nameOf = (field) => field.closest("label")?.querySelector("span")?.textContent ?? field.name;

const valueOf = (field) => {
  const text = field.value.trim();
  return text === "" ? null : (READ[field.dataset.kind] ?? READ.text)(text, nameOf(field));
};

const fieldsOf = (form) => [...form.querySelectorAll("[name]")];

// A name with a point is a value within another: edge.DC.
function bodyOf(form) {
  const body = {};
  for (const field of fieldsOf(form)) {
    const value = valueOf(field);
    if ((value === null && !("nulls" in form.dataset)) || field.dataset.kind === "place") continue;
    const [outer, inner] = field.name.split(".");
    if (inner) (body[outer] ??= {})[inner] = value;
    else body[outer] = value;
  }
  return body;
}

function done(form, { id } = {}) {
  if (form.dataset.then) return location.assign(form.dataset.then.replace("{id}", id));
  sessionStorage.setItem(STORED, form.dataset.done ?? "Done.");
  location.reload();
}

async function send(form) {
  const place = form.querySelector("[data-kind=place]");
  const address = place ? form.dataset.api.replace(`{${place.name}}`, place.value) : form.dataset.api;
  return request(address, bodyOf(form));
}

async function setRight(form) {
  const changed = fieldsOf(form).filter((field) => field.value.trim() !== (field.dataset.was ?? ""));
  if (!changed.length) throw new Error("Nothing was changed.");
  const address = `/api/register/${form.dataset.correct}/${form.dataset.row}/correct`;
  for (const field of changed) await request(address, { field: field.name, value: valueOf(field) });
}

async function smaller(file) {
  const picture = await createImageBitmap(file).catch(() => {
    throw new Error("This is no picture that can be shown here.");
  });
  const scale = Math.min(1, LARGEST_PX / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [picture.width * scale, picture.height * scale];
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  // drawn anew: upright, small, and without the place where it was taken
  return new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.85));
}

async function sendPhoto(form) {
  const file = form.querySelector("[type=file]").files[0];
  if (!file) throw new Error("No photograph was chosen.");
  const note = encodeURIComponent(form.querySelector("[name=note]").value.trim());
  const response = await fetch(`${form.dataset.photo}?note=${note}`, {
    method: "POST", headers: { "Content-Type": "image/jpeg" }, body: await smaller(file), signal: AbortSignal.timeout(30000),
  });
  const said = await response.json().catch(() => ({}));
  if (!response.ok) throw new Error([said.error, said.hint].filter(Boolean).join(" ") || "The monitor did not take it.");
}

async function sendFile(form) {
  const file = form.querySelector("[type=file]").files[0];
  if (!file) throw new Error("No file was chosen.");
  const type = /\.json$/i.test(file.name) ? "application/json" : "text/csv";
  const response = await fetch(form.dataset.file, {
    method: "POST", headers: { "Content-Type": type }, body: file, signal: AbortSignal.timeout(30000),
  });
  const said = await response.json().catch(() => ({}));
  if (!response.ok) throw new Error([said.error, said.hint].filter(Boolean).join(" ") || "The monitor did not take it.");
  form.dataset.done = `${said.tools} tools and ${said.types} types were taken over.`;
}

const WAYS = [["api", send], ["correct", setRight], ["photo", sendPhoto], ["file", sendFile]];

async function submit(form) {
  const [, way] = WAYS.find(([kind]) => kind in form.dataset);
  const problem = form.querySelector(".problem");
  if (form.ariaBusy === "true") return;
  form.ariaBusy = "true";
  say(problem, "");
  try {
    done(form, (await way(form)) ?? {});
  } catch (error) {
    say(problem, error.message);
  } finally {
    form.ariaBusy = "false";
  }
}

for (const form of document.querySelectorAll("form[data-api], form[data-correct], form[data-photo], form[data-file]")) {
  form.noValidate = true;
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    submit(form);
  });
  form.querySelector("[type=file]")?.addEventListener("change", () => submit(form));
}

// A measured profile: what it comes to is said at once, and put into the form that keeps a finish.
async function measure(form) {
  const file = form.querySelector("[type=file]").files[0];
  const asked = new URLSearchParams({ name: file.name });
  for (const field of fieldsOf(form)) {
    const value = valueOf(field);
    if (value !== null) asked.set(field.name, value);
  }
  const response = await fetch(`${form.dataset.profile}?${asked}`, {
    method: "POST", headers: { "Content-Type": "application/octet-stream" }, body: file, signal: AbortSignal.timeout(60000),
  });
  const found = await response.json().catch(() => ({}));
  if (!response.ok) throw new Error([found.error, found.hint].filter(Boolean).join(" ") || "The monitor did not take it.");
  const lines = found.sentences.map((sentence) => Object.assign(document.createElement("p"), { textContent: sentence }));
  form.querySelector(".profile-said").replaceChildren(...lines);
  const target = form.closest("section").querySelector("form[data-api$=finish_readings]");
  for (const name of ["Ra_um", "Rz_um", "Rq_um"]) target.querySelector(`[name=${name}]`).value = Number(found[name].toPrecision(4));
  target.querySelector("[name=standard]").value = found.standard;
  const [from, to] = [form, target].map((each) => each.querySelector("select[name=tool_id]"));
  if (from && to) to.value = from.value;
}

for (const form of document.querySelectorAll("form[data-profile]")) {
  const problem = form.querySelector(".problem");
  const chosen = form.querySelector("[type=file]");
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("change", async () => {
    if (!chosen.files.length) return;
    say(problem, "");
    form.querySelector(".profile-said").replaceChildren();
    await measure(form).catch((error) => say(problem, error.message));
  });
}

document.getElementById("print")?.addEventListener("click", () => print());

if (answer && sessionStorage.getItem(STORED)) {
  say(answer, sessionStorage.getItem(STORED));
  sessionStorage.removeItem(STORED);
}
