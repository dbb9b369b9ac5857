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
