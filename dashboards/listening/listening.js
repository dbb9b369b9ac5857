// Says to the monitor what a person knows of single tones, and keeps the two lists fresh.

import { refresh, request, say } from "../look/shared.js";

const EVERY_MS = 3000;
const answer = document.getElementById("answer");

const wish = ({ hz, order, remove: gone, believe }) => {
  if (hz) return request("/api/background", { frequency_hz: Number(hz) });
  if (order) return request("/api/background", { order: Number(order) });
  if (gone) return request(`/api/background/${encodeURIComponent(gone)}`, undefined, "DELETE");
  return request(`/api/background/${encodeURIComponent(believe)}/believe`, {});
};

document.addEventListener("click", async (event) => {
  const button = event.target.closest(".tones button");
  if (!button) return;
  try {
    await wish(button.dataset);
    say(answer, "Done. It holds from this moment on.");
    button.blur();
    await refresh();
  } catch (error) {
    say(answer, error.message);
  }
});

document.addEventListener("change", async (event) => {
  if (event.target.name !== "careful") return;
  try {
    await request("/api/carefulness", { false_alarms_per_hour: Number(event.target.value) });
    say(answer, "Done. It holds from this moment on.");
  } catch (error) {
    say(answer, error.message);
  }
});

setInterval(() => {
  if (!document.hidden) refresh().catch(() => undefined);
}, EVERY_MS);
