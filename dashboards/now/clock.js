// A monitor that does not know the date asks this screen for it, and takes it only after a yes.

import { localDate, request, say, timeOfDay } from "../look/shared.js";

const part = (id) => document.getElementById(id);
const [set, leave] = [part("set-clock"), part("leave-clock")];
const SET = set.textContent;
let asking = false;

function ask(is, words = "") {
  asking = is;
  leave.hidden = !is;
  say(set, is ? "Yes, set it" : SET);
  say(part("unset-words"), words);
}

async function offer() {
  const now = new Date();
  const answer = await request("/api/clock", { time_s: now.getTime() / 1000, confirm: asking });
  if (answer.needs_confirmation) return ask(true, `It would become ${localDate(now)} ${timeOfDay(now)}. Is that right?`);
  ask(false);
  say(part("answer"), `The clock is set to ${timeOfDay(now)}.`);
  part("unset").hidden = true;
  part("mark").focus({ preventScroll: true });
}

set.addEventListener("click", () => offer().catch((error) => ask(false, error.message)));
leave.addEventListener("click", () => {
  ask(false);
  set.focus();
});
