"""A logged cut taken apart into stretches of one speed: each a trial of the stability lobes of its own.

Whoever turns the override when a cut rings makes two trials in one cut: a speed that rang and, often, one
that did not.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import median
from typing import Any, Literal

Verdict = Literal["quiet", "chatter", "uncertain"]
SAME_SPEED = 0.015  # steps of an override are far larger, droop in a cut is smaller
LEAST_POINTS = 3  # of the track, before another speed is believed
QUIET_AFTER_S = 1.0  # in metal: chatter needs some time to grow and to be heard
RINGS_S = 0.3  # what reaches over a change of speed is the end of the ringing before it
DOUBTFUL_BELOW = 0.6
CLIPPED = 0.01


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Part of a cut at one speed.

    Attributes
    ----------
    start_s, end_s
        From the start of the cut.
    cut_time_s
        With a tooth in metal.
    rpm
        True speed; the told one where none was heard; None where nobody said either.
    verdict
        What the monitor heard.
    chatter_hz
        Line of the loudest chatter in it.
    """

    start_s: float
    end_s: float
    cut_time_s: float
    rpm: float | None
    verdict: Verdict
    chatter_hz: float | None = None


def stretches(analysis: Mapping[str, Any]) -> tuple[Stretch, ...]:
    """Take a cut apart by its speed.

    Parameters
    ----------
    analysis
        Of one cut, as in ``shopmon.inspection/1``.

    Returns
    -------
    tuple of Stretch
        In order; empty where nothing was in the cut.
    """
    engaged = [tuple(span) for cut in analysis.get("cuts") or [] for span in cut["engaged"]]
    if not engaged:
        return ()
    events = analysis.get("chatter") or []
    found = []
    for start, end, rpm in _runs(analysis, engaged):
        cut_time = sum(_overlap(span, (start, end)) for span in engaged)
        if cut_time > 0:
            verdict, hz = _verdict(analysis, events, start, end, cut_time)
            found.append(
                Stretch(
                    start_s=start, end_s=end, cut_time_s=round(cut_time, 3), rpm=rpm,
                    verdict=verdict, chatter_hz=hz,
                )
            )  # fmt: skip
    return tuple(found)


def _runs(analysis, engaged) -> list[tuple[float, float, float | None]]:
    """Start, end and speed of each stretch of steady speed from the first contact to the last."""
    first, last = engaged[0][0], engaged[-1][1]
    spindle = analysis.get("spindle") or {}
    told = (analysis.get("setup") or {}).get("nominal_rpm")
    track = [(t, rpm) for t, rpm, _ in spindle.get("track") or [] if first <= t <= last]
    groups = _steady(track)
    if not groups:
        return [(first, last, spindle.get("rpm") or told)]
    starts = [first, *(group[0][0] for group in groups[1:])]
    ends = [*starts[1:], last]
    speeds = [round(median(rpm for _, rpm in group), 1) for group in groups]
    return list(zip(starts, ends, speeds, strict=True))


def _steady(track: list[tuple[float, float]]) -> list[list[tuple[float, float]]]:
    """Group neighbouring points of one speed; a speed that was passed through belongs to the one before."""
    groups: list[list[tuple[float, float]]] = []
    for point in track:
        if groups and abs(point[1] / median(rpm for _, rpm in groups[-1][-8:]) - 1) <= SAME_SPEED:
            groups[-1].append(point)
        else:
            groups.append([point])
    long = [group for group in groups if len(group) >= LEAST_POINTS] or groups[:1]
    merged = long[:1]
    for group in long[1:]:
        same = abs(median(r for _, r in group) / median(r for _, r in merged[-1]) - 1) <= SAME_SPEED
        if same:
            merged[-1] = merged[-1] + group
        else:
            merged.append(group)
    return merged


def _verdict(analysis, events, start: float, end: float, cut_time: float) -> tuple[Verdict, float | None]:
    """What was heard between two times, and at which line."""
    heard = [
        event
        for event in events
        if start <= event["start_s"] < end
        or _overlap((event["start_s"], event["end_s"]), (start, end)) >= min(RINGS_S, 0.5 * cut_time)
    ]
    doubtful = bool(analysis.get("unsure"))
    doubtful |= (analysis.get("quality") or {}).get("clipped_fraction", 0.0) > CLIPPED
    if heard:
        loudest = max(heard, key=lambda event: event["level_db"])
        doubtful |= loudest.get("confidence", 1.0) < DOUBTFUL_BELOW
        return "uncertain" if doubtful else "chatter", loudest["frequency_hz"]
    return ("uncertain" if doubtful or cut_time < QUIET_AFTER_S else "quiet"), None


def _overlap(one: tuple[float, float], other: tuple[float, float]) -> float:
    return max(0.0, min(one[1], other[1]) - max(one[0], other[0]))
