// Begins a spindle check, sends what is touched, and says what the monitor says of each run.

import { guided } from "../look/guided.js";
import { refresh, request, say } from "../look/shared.js";

const form = document.getElementById("begin");
const limits = document.getElementById("limits");
const problem = document.getElementById("problem");
const inch = form.dataset.units === "inch";
let shown = "";

const number = (text) => text.trim().replace(",", ".");

const typed = () => {
  const asked = { safe: document.getElementById("safe").checked };
  for (const field of form.elements) {
    if (field.type === "checkbox") asked[field.name] = field.checked;
    else if (field.name === "bearing" || field.name === "speeds") asked[field.name] = field.value;
    else if (field.name && field.value.trim()) asked[field.name] = number(field.value);
  }
  if (inch && asked.temperature_c) asked.temperature_c = (Number(asked.temperature_c) - 32) / 1.8;
  return asked;
};

const look = async () => {
  const now = await request("/api/spindle");
  const mark = `${now.status} ${now.steps.length} ${now.run_up} ${now.said}`;
  if (mark !== shown) {
    shown = mark;
    await refresh();
  }
  say(document.getElementById("said"), now.said || "Not begun.");
  const left = now.left_s === null ? "" : `${Math.ceil(now.left_s)}\u00a0s`;
  document.getElementById("left").textContent = now.status === "judging" ? "…" : left;
  return now;
};

const { again, told } = guided({ look, isBusy: (now) => ["recording", "judging"].includes(now.status), busyMs: 400, problem });

form.addEventListener("submit", (event) => {
  event.preventDefault();
  told(async () => {
    await request("/api/spindle", typed());
    document.getElementById("live").scrollIntoView({ block: "start" });
  });
});

limits.addEventListener("submit", (event) => {
  event.preventDefault();
  const velocity = number(document.getElementById("velocity").value);
  const asked = { velocity: velocity && inch ? Number(velocity) * 25.4 : velocity, acceleration: number(document.getElementById("acceleration").value) };
  told(async () => {
    await request("/api/spindle/limits", asked);
    await refresh();
  });
});

const figure = (value) => Number(value).toPrecision(2);

const toldOf = (found) => {
  const put = found.correction;
  const far = inch ? `${figure(put.radius_mm / 25.4)}\u00a0in` : `${figure(put.radius_mm)}\u00a0mm`;
  const lines = [
    `Imbalance ${figure(found.unbalance_g_mm)} g\u00a0mm (±\u00a0${figure(found.error_g_mm)}), heavy spot ${Math.round(found.angle_deg)}° from the mark, against the direction of rotation.`,
  ];
  if (found.left_g_mm !== null) lines.push(`After the correction ${figure(found.left_g_mm)} g\u00a0mm are left.`);
  const first = found.left_g_mm === null ? "Take the trial weight off; correct with" : "To take away what is left, add";
  lines.push(`${first} ${figure(put.mass_g)}\u00a0g at ${far}, ${Math.round(put.angle_deg)}° from the mark.`);
  lines.push(
    found.grade_mm_s === null
      ? `No balance grade: missing are ${found.missing.join("; ")}.`
      : `Balance quality G\u00a0${figure(found.grade_mm_s)} (ISO 21940-11) with ${found.mass_kg}\u00a0kg at ${Math.round(found.rpm)}\u00a0rpm.`,
  );
  lines.push("The run with the trial weight is set aside: it is no baseline.");
  return [...lines, ...found.notices.map((notice) => `${notice.text} ${notice.hint}`)];
};

// the form is made anew with the page: it is listened to from above
document.addEventListener("submit", async (event) => {
  const balance = event.target;
  if (balance.id !== "balance") return;
  event.preventDefault();
  const asked = {};
  for (const field of balance.elements) {
    if (field.name) asked[field.name] = field.tagName === "SELECT" ? field.value : number(field.value);
  }
  if (inch && asked.radius_mm) asked.radius_mm = Number(asked.radius_mm) * 25.4;
  const list = document.getElementById("balance-told");
  const wrong = document.getElementById("balance-problem");
  list.replaceChildren();
  wrong.textContent = "";
  try {
    for (const line of toldOf(await request("/api/spindle/balance", asked))) {
      list.append(Object.assign(document.createElement("li"), { textContent: line }));
    }
    await refresh();
  } catch (problem) {
    wrong.textContent = problem.message;
  }
});

const touched = {
  run: () => request("/api/spindle/run", {}),
  end: () => request("/api/spindle/run/end", {}),
  finish: () => request("/api/spindle/finish", {}),
  "give-up": () => request("/api/spindle", undefined, "DELETE"),
};

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (touched[button.id]) {
    told(async () => {
      await touched[button.id]();
      button.blur();
      await refresh();
    });
  }
  if (button.dataset.check) {
    told(async () => {
      await request(`/api/spindle/checks/${encodeURIComponent(button.dataset.check)}`, { used: button.dataset.used === "true" });
      button.blur();
      await refresh();
    });
  }
});

again();
