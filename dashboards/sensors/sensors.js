// Sends what is touched, says what came of it, and keeps the parts that change fresh; ?source= names the sensor.

import { refresh, request, say } from "../look/shared.js";

const EVERY_MS = 3000;
const answer = document.getElementById("answer");

const told = async (waiting, work, done) => {
  say(answer, waiting);
  try {
    const { remark } = (await work()) ?? {};
    say(answer, remark ? `${done} ${remark}` : done);
    document.activeElement?.blur();
    await refresh();
  } catch (error) {
    say(answer, error.message);
  }
  answer.scrollIntoView({ block: "center" });
};

const values = (form) => {
  const asked = {};
  for (const [name, text] of new FormData(form)) {
    const clean = text.trim();
    asked[name] = ["part", "mounting", "what"].includes(name) ? clean || null : clean ? Number(clean.replace(",", ".")) : null;
  }
  return asked;
};

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (button?.dataset.place) {
    told("Hold it still …", () => request(`/api/sensors/place${location.search}`, { place: button.dataset.place }), `Measured: ${button.dataset.place}.`);
  } else if (button?.id === "finish") {
    told("Calibrating …", () => request(`/api/sensors/turn-over${location.search}`, {}), "Calibrated and kept.");
  }
});

const forms = {
  describe: ["…", "/api/sensors/describe", "Kept."],
  tone: ["Listening for three seconds …", "/api/sensors/level", "Calibrated and kept."],
  enter: ["…", "/api/sensors/enter", "Kept."],
};
for (const [id, [waiting, address, done]] of Object.entries(forms)) {
  const form = document.getElementById(id);
  form?.addEventListener("submit", (event) => {
    event.preventDefault();
    told(waiting, () => request(address + location.search, values(form)), done);
  });
}

setInterval(() => {
  if (!document.hidden) refresh().catch(() => undefined);
}, EVERY_MS);
