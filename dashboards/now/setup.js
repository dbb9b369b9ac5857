// The two large buttons, and the choice of speed and flutes: recent pairs with two touches, a keypad for the rest.

import { request, say, setupWords, timeOfDay } from "../look/shared.js";

const part = (id) => document.getElementById(id);
const [chooser, keypad] = [part("chooser"), part("keypad")];
const [rpmField, flutesField] = [part("enter-rpm"), part("enter-flutes")];
let field = rpmField;
let freshField = true; // the first digit replaces what stood there

const answer = (text) => {
  part("answer").textContent = "";
  part("answer").textContent = text;
};

const busy = new Set();

async function press(button, address, body, done) {
  if (busy.has(button)) return;
  busy.add(button);
  try {
    await request(address, body);
    answer(done());
  } catch (error) {
    answer(error.message);
  } finally {
    busy.delete(button);
  }
}

part("mark").addEventListener("click", (event) =>
  press(event.currentTarget, "/api/marks", {}, () => `Moment marked at ${timeOfDay(new Date())}.`));
part("keep").addEventListener("click", (event) =>
  press(event.currentTarget, "/api/keep-last", { seconds: 120 }, () => "The last two minutes are kept."));

async function use(rpm, flutes, dialog, problem) {
  say(problem, "");
  try {
    const { context } = await request("/api/context", { nominal_rpm: rpm, flutes });
    say(part("setup-words"), setupWords(context.nominal_rpm, context.flutes));
    dialog.close();
    answer(`Now told: ${setupWords(context.nominal_rpm, context.flutes)}.`);
  } catch (error) {
    say(problem, error.message);
  }
}

const numberOf = (text) => (text === "" ? null : Number(text));

part("setup").addEventListener("click", () => {
  say(part("chooser-problem"), "");
  chooser.showModal();
});

part("recents").addEventListener("click", ({ target }) => {
  const pair = target.closest("button")?.dataset;
  if (pair) use(numberOf(pair.rpm), numberOf(pair.flutes), chooser, part("chooser-problem"));
});

part("other").addEventListener("click", () => {
  chooser.close();
  rpmField.value = part("setup").dataset.rpm;
  flutesField.value = part("setup").dataset.flutes;
  say(part("keypad-problem"), "");
  keypad.showModal();
  enter(rpmField);
});

function enter(next) {
  next.focus();
  next.select();
}

for (const each of [rpmField, flutesField]) {
  each.addEventListener("focus", () => {
    field = each;
    freshField = true;
    rpmField.parentElement.classList.toggle("at", field === rpmField);
    flutesField.parentElement.classList.toggle("at", field === flutesField);
    say(part("keys").querySelector('[data-key="next"]'), field === rpmField ? "Next" : "Speed");
  });
  each.addEventListener("input", () => {
    freshField = false;
    each.value = each.value.replace(/\D/g, "");
  });
}

part("keys").addEventListener("click", ({ target }) => {
  const key = target.closest("button")?.dataset.key;
  if (!key) return;
  if (key === "next") return enter(field === rpmField ? flutesField : rpmField);
  if (key === "back") field.value = field.value.slice(0, -1);
  else if (freshField) field.value = key;
  else if (field.value.length < field.maxLength) field.value += key;
  freshField = false;
});

part("keypad-form").addEventListener("submit", (event) => {
  event.preventDefault();
  if (!rpmField.value && !flutesField.value) return say(part("keypad-problem"), "Enter a speed, the number of flutes, or both.");
  use(numberOf(rpmField.value), numberOf(flutesField.value), keypad, part("keypad-problem"));
});

for (const button of document.querySelectorAll("dialog [data-close]")) {
  button.addEventListener("click", () => button.closest("dialog").close());
}
