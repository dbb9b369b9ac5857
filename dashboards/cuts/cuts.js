// *Cuts*: follows what is still open, keeps a cut, and ties marks to their sound.

import { refresh, request, say } from "../look/shared.js";

const FOLLOW_MS = 2000;
const part = (id) => document.getElementById(id);

// Only the top of the list and an open cut change by themselves, and only a seen page asks.
const follow = () => {
  if (!document.hidden && document.querySelector("[data-follow]")) refresh().then(ended, () => {});
};

// A sound that appears brings much with it, all made by the server: load the page anew, unless someone listens.
const ended = (made) => {
  const waiting = (page) => page.querySelectorAll("[data-follow]:not(#cut-list)").length;
  const heard = [...document.querySelectorAll("audio")].some((sound) => !sound.paused);
  if (waiting(made) < waiting(document) && !heard) location.reload();
};

setInterval(follow, FOLLOW_MS);
document.addEventListener("visibilitychange", follow);

function tieKeep(button) {
  button.addEventListener("click", async () => {
    const keep = button.getAttribute("aria-pressed") !== "true";
    try {
      await request(`/api/cuts/${encodeURIComponent(button.dataset.cut)}/keep`, { keep });
      button.setAttribute("aria-pressed", keep);
      say(part("keep-word"), keep ? "The sound of this cut is kept for good." : "The sound of this cut goes when the disk needs room; the figures stay.");
      say(part("answer"), keep ? "Kept." : "No longer kept.");
    } catch (error) {
      say(part("answer"), error.message);
    }
  });
}

function tieDiscard(button) {
  button.addEventListener("click", async () => {
    if (!confirm("Remove the sound of this cut for good? Other cuts in the same recording lose theirs too. The figures stay.")) return;
    try {
      await request(`/api/cuts/${encodeURIComponent(button.dataset.cut)}/discard`, {});
      location.reload();
    } catch (error) {
      say(part("answer"), error.message);
    }
  });
}

function tieMarks(kept) {
  const sound = kept.querySelector("audio");
  kept.addEventListener("click", ({ target }) => {
    const button = target.closest("[data-seek]");
    if (!button) return;
    sound.currentTime = Number(button.dataset.seek);
    sound.play().catch(() => {});
  });
}

// The sound around a mark stays for some minutes only: looking at it keeps it a while longer.
async function openMark(button) {
  try {
    const { page } = await request(`/api/marks/${encodeURIComponent(button.dataset.openMark)}/open`, {});
    location.href = page;
  } catch (error) {
    say(part("mark-answer"), error.message);
  }
}

for (const button of document.querySelectorAll("[data-open-mark]")) button.addEventListener("click", () => openMark(button));
document.querySelectorAll(".by-hand article").forEach(tieMarks);
if (part("keep")) tieKeep(part("keep"));
if (part("discard")) tieDiscard(part("discard"));
