// Which section of the followed program is believed to run. The words mirror look/words.py.

import { say } from "../look/shared.js";

const line = document.getElementById("program");

export const programWords = (program) => {
  if (!program) return "";
  if (!program.name) return program.trouble;
  if (program.trouble) return `${program.name}: ${program.trouble}`;
  if (!program.section) return `${program.name}: no section can be told now`;
  return `${program.name}: section ${program.section.words} – ${program.section.sure}`;
};

export const showProgram = (state) => {
  line.hidden = !state.program;
  say(document.getElementById("program-words"), programWords(state.program));
};
