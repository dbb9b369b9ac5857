// What pages share that guide through something: looking often while it goes on, and saying what was refused.

import { say } from "./shared.js";

const IDLE_MS = 3000;

// `look` asks the monitor and shows its answer; while `isBusy(answer)` it is asked every `busyMs`.
export function guided({ look, isBusy, busyMs, problem }) {
  let timer = 0;
  const again = async () => {
    clearTimeout(timer);
    let wait = IDLE_MS;
    if (!document.hidden) {
      try {
        if (isBusy(await look())) wait = busyMs;
      } catch {
        wait = IDLE_MS;
      }
    }
    clearTimeout(timer);
    timer = setTimeout(again, wait);
  };
  const told = async (work) => {
    try {
      await work();
      say(problem, "");
      document.activeElement?.blur();
      await again();
    } catch (error) {
      say(problem, error.message);
      problem.scrollIntoView({ block: "center" });
    }
  };
  return { again, told };
}
