// Says to the monitor what a cut was, and shows what a wish would have changed before it is kept.

import { grouped, request, say } from "../../look/shared.js";

const EVERY_MS = 700;
const ALL = 10000;
const ROWS_SHOWN = 200;
const section = document.getElementById("said");
const cut = encodeURIComponent(section.dataset.cut);
const answer = document.getElementById("said-answer");
const trial = document.getElementById("trial");
const form = section.querySelector(".missed");
let wish = null;
let job = null;
let cursor = null;

document.getElementById("review")?.addEventListener("moment", ({ detail }) => {
  cursor = detail.second;
});

const numberOf = (field) => {
  const text = field.value.trim().replace(",", ".");
  if (text === "") return undefined;
  const value = Number(text);
  if (Number.isFinite(value)) return value;
  throw new Error(`“${text}” is no number.`);
};

const reload = (words) => {
  sessionStorage.setItem("said", words);
  location.hash = "said";
  location.reload();
};

async function told(action, words) {
  try {
    await action();
    reload(words);
  } catch (error) {
    say(answer, error.message);
  }
}

const verdict = ({ chatter_s: length, frequency_hz: hz, events }) =>
  events ? `${length.toFixed(1)} s chatter${hz ? `, ${grouped(hz)} Hz` : ""}` : "quiet";

function cell(row, text, name = "td") {
  const made = document.createElement(name);
  made.append(text);
  row.append(made);
}

function show(found) {
  trial.hidden = false;
  trial.querySelector("progress").value = found.share;
  trial.querySelector("progress").hidden = found.status !== "running";
  const heard = found.rows.length - found.without_sound;
  const words = {
    running: `The monitor hears them again: ${found.rows.length} of ${found.cuts} cuts done.`,
    done: `${found.changed} of ${heard} cuts ${found.kept ? "are judged otherwise today" : "would be judged otherwise"}.`,
    stopped: "Stopped. Nothing was changed by what was only tried.",
  };
  say(document.getElementById("trial-word"), words[found.status]);
  const body = trial.querySelector("tbody");
  body.replaceChildren();
  const differing = found.rows.filter((row) => row.changed);
  for (const row of found.rows.length > ROWS_SHOWN ? differing.slice(0, ROWS_SHOWN) : found.rows) {
    const line = document.createElement("tr");
    if (row.changed) line.className = "differs";
    const link = document.createElement("a");
    link.href = `/cuts/${encodeURIComponent(row.cut_id)}`;
    link.textContent = row.started_at ? new Date(row.started_at * 1000).toLocaleString("sv-SE") : "clock not set";
    cell(line, link);
    cell(line, verdict(row.before));
    cell(line, row.after ? verdict(row.after) : row.why);
    body.append(line);
  }
  const button = (name) => trial.querySelector(`[data-${name}]`);
  const ready = wish !== null && found.status === "done";
  button("keep-wish").hidden = button("drop-wish").hidden = !ready;
  button("stop").hidden = found.status !== "running";
  button("family-too").hidden = !(ready && wish.reject && !wish.reject.family && found.rows.some((row) => row.after?.events));
  document.getElementById("family-word").hidden = !wish?.reject?.family;
}

// A tone alone, or with all in steps of the rotation from it; with any tool, or with the one of this cut.
const reject = (tone, family, tool) => {
  const wanted = { reject: { ...tone, ...(family && { family }), ...(tool && { only_with: tool }) } };
  begin({ ...wanted, newest: 20 }, wanted);
};

async function follow() {
  while (job) {
    const found = await request(`/api/hear-again/${encodeURIComponent(job)}`);
    show(found);
    if (found.status !== "running") return;
    await new Promise((go) => setTimeout(go, EVERY_MS));
  }
}

async function begin(body, wanted) {
  try {
    wish = wanted;
    const found = await request("/api/hear-again", body);
    job = found.id;
    show(found);
    trial.scrollIntoView({ block: "nearest" });
    await follow();
  } catch (error) {
    say(answer, error.message);
  }
}

const keepWish = () => {
  if (wish.reject) return request("/api/background", wish.reject);
  if (wish.heed) return request("/api/background/heed", wish.heed);
  return request("/api/carefulness", wish);
};

section.addEventListener("click", ({ target }) => {
  const button = target.closest("button");
  if (!button) return;
  const { say: word, takeBack, try: tried, reject: tone, here } = button.dataset;
  if (word) told(() => request(`/api/cuts/${cut}/say`, { verdict: word }), "Noted. Totals and learning follow.");
  else if (takeBack) told(() => request(`/api/cuts/${cut}/say/${encodeURIComponent(takeBack)}`, undefined, "DELETE"), "Taken back.");
  else if (tried) begin({ ...JSON.parse(tried), newest: 20 }, JSON.parse(tried));
  else if (tone) {
    const choice = button.closest("li");
    const only = choice.querySelector("[data-only-with]:checked");
    reject(JSON.parse(tone), choice.querySelector("[data-family]").checked, only?.dataset.onlyWith);
  }
  else if ("familyToo" in button.dataset) reject(wish.reject, true);
  else if ("stop" in button.dataset) request(`/api/hear-again/${encodeURIComponent(job)}`, undefined, "DELETE").catch((error) => say(answer, error.message));
  else if (here) form.elements[here].value = cursor === null ? "" : Number(cursor).toFixed(2);
  else if ("heed" in button.dataset) heed();
  else if ("again" in button.dataset) begin({ cuts: [section.dataset.cut] }, null);
  else if ("againAll" in button.dataset) begin({ newest: ALL }, null);
  else if ("keepWish" in button.dataset) told(keepWish, "Kept. It holds from this moment on.");
  else if ("dropWish" in button.dataset) {
    trial.hidden = true;
    wish = job = null;
  }
});

function heed() {
  try {
    const hz = numberOf(document.getElementById("heed"));
    if (hz === undefined) throw new Error("Type the tone in hertz first.");
    const wanted = { heed: { frequency_hz: hz } };
    begin({ ...wanted, newest: 20 }, wanted);
  } catch (error) {
    say(answer, error.message);
  }
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const problem = form.querySelector(".problem");
  try {
    const body = { verdict: event.submitter?.value ?? "chatter", note: form.elements.note.value };
    if (body.verdict === "chatter") for (const name of ["start_s", "end_s", "frequency_hz"]) body[name] = numberOf(form.elements[name]);
    await request(`/api/cuts/${cut}/say`, body);
    reload("Noted.");
  } catch (error) {
    say(problem, error.message);
  }
});

const stored = sessionStorage.getItem("said");
if (stored) {
  sessionStorage.removeItem("said");
  say(answer, stored);
}
