// Begins a tap test, says what the monitor says of each hit, and fetches the result once it is there.

import { guided } from "../look/guided.js";
import { refresh, request, say } from "../look/shared.js";

const form = document.getElementById("begin");
const problem = document.getElementById("problem");
const running = ["quiet", "waiting", "catching"];
let shown = "";

const typed = () => {
  const asked = { safe: document.getElementById("safe").checked, response_unit: "g" };
  for (const [name, value] of new FormData(form)) {
    const text = value.trim().replace(",", ".");
    if (text) asked[name] = text;
  }
  return asked;
};

const look = async () => {
  const now = await request("/api/tap");
  const mark = `${now.status} ${now.hits.length} ${now.kept}`;
  say(document.getElementById("said"), now.said || "Not begun.");
  if (mark !== shown) {
    shown = mark;
    await refresh();
    say(document.getElementById("said"), now.said || "Not begun.");
  }
  return now;
};

const { again, told } = guided({ look, isBusy: (now) => running.includes(now.status), busyMs: 350, problem });

form.addEventListener("submit", (event) => {
  event.preventDefault();
  told(async () => {
    await request("/api/tap", typed());
    document.getElementById("live").scrollIntoView({ block: "start" });
  });
});

document.addEventListener("submit", (event) => {
  if (event.target.id !== "keep") return;
  event.preventDefault();
  told(() => request("/api/tap/keep", { note: document.getElementById("note").value }));
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (button?.id === "finish") told(() => request("/api/tap/finish", {}));
  if (button?.id === "give-up") told(() => request("/api/tap", undefined, "DELETE"));
  if (button?.dataset.test) {
    told(async () => {
      await request(`/api/tap/tests/${encodeURIComponent(button.dataset.test)}`, { used: button.dataset.used === "true" });
      button.blur();
      await refresh();
    });
  }
});

again();
