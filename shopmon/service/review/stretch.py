"""What can be looked at afterwards: a logged cut, or a stretch of sound that was kept by hand."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from shopmon.errors import RecordingError

STRAY_HALF_WIDTH_HZ, STRAY_HALF_WIDTH_SHARE = 15.0, 0.008
SERIES = ("rpm", "level_db", "comb_db", "stray_db")


class Log(Protocol):
    """What is asked of the log, in the form in which the pages see it."""

    def cut(self, cut_id: str) -> dict | None:
        """Return one cut."""

    def audio_path(self, cut_id: str) -> Path | None:
        """Return the file with a cut's sound."""

    def features(self, cut_id: str) -> dict | None:
        """Return a cut's figures per frame."""

    def kept(self) -> list[dict]:
        """Return what was kept by hand."""

    def kept_audio_path(self, keep_id: str) -> Path | None:
        """Return the file with a stretch that was kept by hand."""

    def kept_features(self, keep_id: str) -> dict | None:
        """Return its figures per frame."""


@dataclass(frozen=True, kw_only=True)
class StrayBox:
    """Where a stray tone was found: times from the first sample of the recording, and its frequencies."""

    start_s: float
    end_s: float
    low_hz: float
    high_hz: float
    frequency_hz: float
    kind: str  # chatter or stray
    text: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Stretch:
    """A cut or a kept stretch; all times count from the first sample of its recording.

    Attributes
    ----------
    id
        Of the cut or of what was kept.
    sound
        Its file, None where there is no sound; ``messages`` then says why.
    duration_s
        As far as the log and the figures tell.
    rpm
        The speed of the whole, None where not heard.
    figures
        Per frame: ``t_s`` and the `SERIES`, all of shape ``(frames,)``, NaN where not known; ``state`` and
        ``engaged`` as far as kept. Empty arrays where there are none.
    engaged, chatter, marks, strays
        What the monitor found, as in the log.
    flutes, context
        As told, None where nobody said; what else was known of tool and speed.
    messages
        What is missing, one sentence each.
    """

    id: str
    sound: Path | None
    duration_s: float
    rpm: float | None
    figures: dict[str, np.ndarray]
    engaged: list[list[float]] = field(default_factory=list)
    chatter: list[dict[str, Any]] = field(default_factory=list)
    marks: list[dict[str, Any]] = field(default_factory=list)
    strays: tuple[StrayBox, ...] = ()
    flutes: int | None = None
    context: dict[str, Any] = field(default_factory=dict)
    messages: tuple[str, ...] = ()

    def rotation_hz(self, at_s: np.ndarray) -> np.ndarray:
        """Return the rotation at times, NaN where it is not known; between frames on straight lines."""
        time, rpm = self.figures["t_s"], self.figures["rpm"]
        known = np.isfinite(rpm)
        if not known.any():
            return np.full(np.shape(at_s), np.nan if self.rpm is None else self.rpm / 60)
        rotation = np.interp(at_s, time[known], rpm[known]) / 60
        nearest = np.clip(np.searchsorted(time, at_s), 0, time.size - 1)
        before = np.maximum(nearest - 1, 0)
        return np.where(known[nearest] | known[before], rotation, np.nan)


def find_stretch(log: Log, stretch_id: str) -> Stretch | None:
    """Return the cut or kept stretch with this id, None when there is none."""
    cut = log.cut(stretch_id)
    if cut is not None:
        return _of_cut(log, cut)
    kept = next((span for span in log.kept() if span["id"] == stretch_id), None)
    return None if kept is None else _of_kept(log, kept)


def _of_cut(log: Log, cut: dict[str, Any]) -> Stretch:
    figures, said = _figures(lambda: log.features(cut["id"]))
    path = log.audio_path(cut["id"])
    sound = path if path is not None and path.is_file() else None
    messages = [*_why_no_sound(cut, sound), *said]
    end_s = max([cut["end_s"] or cut["start_s"], *figures["t_s"][-1:]])
    return Stretch(
        id=cut["id"],
        sound=sound,
        duration_s=float(end_s),
        rpm=cut.get("rpm"),
        figures=figures,
        engaged=cut["engaged"],
        chatter=cut["chatter"],
        marks=[mark for mark in cut["marks"] if mark.get("t_s") is not None],
        strays=stray_boxes(cut["chatter"], cut.get("stray") or [], cut["start_s"]),
        flutes=cut["context"].get("flutes"),
        context=cut["context"],
        messages=tuple(messages),
    )


def _of_kept(log: Log, kept: dict[str, Any]) -> Stretch:
    figures, said = _figures(lambda: log.kept_features(kept["id"]))
    path = log.kept_audio_path(kept["id"])
    sound = path if path is not None and path.is_file() else None
    states = figures["state"]
    return Stretch(
        id=kept["id"],
        sound=sound,
        duration_s=float(max([kept["duration_s"] or 0.0, *figures["t_s"][-1:]])),
        rpm=None,
        figures=figures,
        engaged=_spans(figures["t_s"], figures["engaged"]),
        chatter=[{"start_s": a, "end_s": b} for a, b in _spans(figures["t_s"], states == "chatter")],
        marks=[mark for mark in kept["marks"] if mark.get("t_s") is not None],
        messages=(*_why_no_sound(kept, sound), *said),
    )


def _figures(read) -> tuple[dict[str, np.ndarray], list[str]]:
    """Return the figures as arrays, and what is to be said about them."""
    try:
        found = read()
    except (OSError, RecordingError):
        return _nothing(), ["The figures of this cut cannot be read; the file is damaged."]
    if found is None or not len(found["t_s"]):
        return _nothing(), ["No figures were kept of this cut: speed, comb and stray energy are not shown."]
    frames = len(found["t_s"])
    nothing = np.full(frames, np.nan)
    figures = {"t_s": np.asarray(found["t_s"], float)}
    figures |= {name: np.asarray(found.get(name, nothing), float) for name in SERIES}
    figures["state"] = np.asarray(found.get("state", np.full(frames, "")))
    figures["engaged"] = np.asarray(found.get("engaged", np.zeros(frames)), bool)
    return figures, []


def _nothing() -> dict[str, np.ndarray]:
    empty = {name: np.zeros(0) for name in ("t_s", *SERIES)}
    return {**empty, "state": np.zeros(0, "U1"), "engaged": np.zeros(0, bool)}


def _why_no_sound(row: dict[str, Any], sound: Path | None) -> list[str]:
    if sound is not None:
        return []
    if row.get("audio_removed"):
        return ["The sound was removed to make room on the disk, so there is no picture of it."]
    if row.get("audio_pending") or row.get("ended") is False:
        return ["The sound is not filed yet; its picture appears when it is."]
    if row.get("audio"):
        return ["The file with the sound is missing, so there is no picture of it."]
    return ["No sound was kept, so there is no picture of it."]


def _spans(time: np.ndarray, within: np.ndarray) -> list[list[float]]:
    """Return the stretches of time in which `within` holds."""
    if not time.size:
        return []
    edges = np.flatnonzero(np.diff(np.concatenate(([0], within.astype(np.int8), [0]))))
    before = np.concatenate(([0.0], time))
    return [[float(before[a]), float(before[b])] for a, b in edges.reshape(-1, 2)]


def stray_boxes(chatter: list[dict], stray: list[dict], start_s: float) -> tuple[StrayBox, ...]:
    """Return where stray tones were found: the chatter, and what else the analysis lists.

    Parameters
    ----------
    chatter
        As in the log; times from the first sample of the recording.
    stray
        From the analysis; its times count from the start of the cut.
    start_s
        When that was.
    """
    spans = [(span, "chatter", "chatter") for span in chatter if span.get("frequency_hz")]
    for tone in stray:
        moved = {**tone, "start_s": tone["start_s"] + start_s, "end_s": tone["end_s"] + start_s}
        same = any(_is_same(moved, span) for span, _, _ in spans)
        if not same:
            spans.append((moved, "stray", tone.get("why") or "stray tone"))
    return tuple(_box(span, kind, text) for span, kind, text in spans)


def _is_same(tone: dict, span: dict) -> bool:
    near = abs(tone["frequency_hz"] - span["frequency_hz"]) < 2 * half_width_hz(span["frequency_hz"])
    return near and tone["start_s"] < span["end_s"] and span["start_s"] < tone["end_s"]


def half_width_hz(frequency_hz: float) -> float:
    """Return how far beside its frequency a stray tone may be heard: it drifts a little."""
    return max(STRAY_HALF_WIDTH_HZ, STRAY_HALF_WIDTH_SHARE * frequency_hz)


def _box(span: dict, kind: str, text: str) -> StrayBox:
    frequency_hz = float(span["frequency_hz"])
    half = half_width_hz(frequency_hz)
    return StrayBox(
        start_s=float(span["start_s"]),
        end_s=float(span["end_s"]),
        low_hz=max(0.0, frequency_hz - half),
        high_hz=frequency_hz + half,
        frequency_hz=frequency_hz,
        kind=kind,
        text=text,
    )
