// What is thought about appears by itself: ask again until it is there, and only while the page is seen.

import { refresh } from "../look/shared.js";

const AGAIN_MS = 900;

export function follow({ always = () => false, everyMs = AGAIN_MS, after = () => {} } = {}) {
  const live = () => document.getElementById("live");
  setInterval(async () => {
    if (document.hidden || (live().dataset.status !== "thinking" && !always())) return;
    try {
      const made = (await refresh()).getElementById("live");
      Object.assign(live().dataset, made.dataset);
      after();
    } catch {
      // the next look may find the monitor again
    }
  }, everyMs);
}
