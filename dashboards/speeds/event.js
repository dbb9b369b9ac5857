// The advice on one chatter: follows it while it rings, and takes the answer how it went.

import { refresh, request, say } from "../look/shared.js";
import { follow } from "./waiting.js";

const RINGING_MS = 1000;
const live = document.getElementById("live");
const answer = document.getElementById("answer");
const address = `/api/speeds/events/${encodeURIComponent(live.dataset.event)}/tried`;

follow({ always: () => live.dataset.open === "yes", everyMs: RINGING_MS });

async function send(button, work, done) {
  try {
    await work();
    say(answer, done);
    button.blur();
    await refresh();
  } catch (error) {
    say(answer, error.message);
  }
}

live.addEventListener("click", ({ target }) => {
  const button = target.closest("button");
  if (!button) return;
  const { answer: given, action, rpm, ap, takeBack } = button.dataset;
  if (given) {
    const tried = { answer: given, action, rpm: Number(rpm), ...(ap ? { ap_mm: Number(ap) } : {}) };
    send(button, () => request(address, tried), "Noted. The monitor learns from it.");
  } else if (takeBack) {
    send(button, () => request(`${address}/${encodeURIComponent(takeBack)}`, undefined, "DELETE"), "Taken back.");
  }
});
