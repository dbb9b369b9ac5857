// One touch says which tool is in the spindle. The server makes the panel anew, here and on every other screen.

import { refresh, request, say } from "../look/shared.js";

const panel = document.getElementById("spindle");
let busy = false;

panel.addEventListener("click", async ({ target }) => {
  const button = target.closest("button");
  if (!button || busy) return;
  busy = true;
  say(document.getElementById("spindle-problem"), "");
  try {
    const tool = button.dataset.tool || null;
    await request("/api/context", { end_mill_id: tool });
    button.blur(); // a part that someone uses is not replaced
    await refresh();
    say(document.getElementById("answer"), tool ? `${button.textContent} is in the spindle now.` : "No tool is named now.");
  } catch (error) {
    say(document.getElementById("spindle-problem"), error.message);
  } finally {
    busy = false;
  }
});

// What is cut, of what and how: its time is added up by material, and like is only compared with like.
panel.addEventListener("change", async ({ target }) => {
  const { job } = target.dataset;
  if (!job) return;
  say(document.getElementById("spindle-problem"), "");
  const name = target.closest("label").querySelector("span").textContent;
  try {
    await request("/api/context", { [job]: target.value || null });
    target.blur();
    say(document.getElementById("answer"), target.value ? `${name}: ${target.selectedOptions[0].textContent}.` : `${name}: nobody said.`);
    await refresh();
  } catch (error) {
    say(document.getElementById("spindle-problem"), error.message);
  }
});

// Another screen, a program or a controller's macro may have said it; each change is told once.
let told = null;
export const spindleChanged = ({ end_mill: said = {} }) => {
  const key = JSON.stringify([said.id ?? "", said.label ?? ""]);
  const { tool, label } = panel.querySelector(".spindle-now").dataset;
  const changed = key !== JSON.stringify([tool, label]) && key !== told;
  told = key;
  return changed;
};
