// Sends what is touched on the pages of NC programs, and keeps what is heard fresh.

import { refresh, request, say } from "../look/shared.js";

const EVERY_MS = 3000;
const answer = document.getElementById("answer");
const load = document.getElementById("load");
const tools = document.getElementById("tools");

const told = async (work, words) => {
  try {
    await work();
    say(answer, words);
  } catch (error) {
    say(answer, error.message);
  }
};

const whole = () => (load ? refresh() : location.reload());

document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-follow], button[data-cut]");
  if (!button) return;
  const { follow, cut, tool } = button.dataset;
  const work = async () => {
    if (cut) await request(`/api/programs/doubts/${encodeURIComponent(cut)}`, { tool_id: tool || null });
    else await request("/api/programs/follow", { id: follow || null });
    button.blur();
    await whole();
  };
  told(work, cut ? "Done. All totals follow." : follow ? "It is followed from this moment on." : "No program is followed.");
});

tools?.addEventListener("change", (event) => {
  const { value, dataset } = event.target;
  const path = `/api/programs/${encodeURIComponent(tools.dataset.program)}/tools`;
  told(() => request(path, { tools: { [dataset.number]: value || null } }), "Kept.");
});

load?.addEventListener("submit", (event) => {
  event.preventDefault();
  const file = document.getElementById("file").files[0];
  if (!file) return;
  say(answer, "Reading it…");
  told(async () => {
    const path = `/api/programs?name=${encodeURIComponent(file.name)}`;
    const reply = await fetch(path, { method: "POST", headers: { "Content-Type": "application/octet-stream" }, body: file });
    const body = await reply.json();
    if (!reply.ok) throw new Error([body.error, body.hint].filter(Boolean).join(" "));
    load.reset();
    await refresh();
  }, "Loaded. Open it to say which tools its numbers are, then follow it.");
});

if (load) {
  setInterval(() => {
    if (!document.hidden) refresh().catch(() => undefined);
  }, EVERY_MS);
}
