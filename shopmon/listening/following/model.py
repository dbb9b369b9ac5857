"""An NC program as states in time: cells of its sections, and what may happen between them.

A cell is a short piece of a section in program time. The machine goes through cells at one of a few rates of
program time to real time (feed override, corners that it slows for), may pause, and is in metal or in air.
Between sections it waits: for the spindle to stop where the tool is changed, then for the next start. A
section may be repeated, broken off, or something else be done in between; no other tool comes without a stop.
All probabilities are our own judgement, set before the benchmark's final programs were drawn.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, sqrt

import numpy as np

from shopmon.cutting.program.sections import Section, Span
from shopmon.errors import SettingError

STEP_S = 0.5
RATES = np.array([0.0, 0.27, 0.36, 0.48, 0.63, 0.83, 1.1])  # program time per real time; the first is a pause
MOVING = RATES > 0
CELL_S, MOST_CELLS, MOST_IN_SECTION = 0.65, 6000, 200
MOST_SECTIONS = 300
WAIT_MEAN_S = 25.0
QUICK_RAPIDS = 1 / 3  # where nobody told the rate of rapids: at most three times the one assumed
RATE_CHANGE, RATE_JUMP, PAUSES, RESUMES = 0.02, 0.002, 0.0008, 0.02  # per step
TO_AIR, TO_METAL = 0.05, 0.13
BREAKS_OFF, TAKEN_OUT = 1e-4, 0.01
STOP_MISSED = 0.004
STARTS = 0.03
STARTS_AT_ONCE = 0.3
NEXT, AGAIN, ELSEWHERE, OTHER_WORK = 0.965, 0.02, 0.005, 0.01
AFTER_BREAK = {"again": 0.4, "first": 0.3, "resume": 0.2, "any": 0.06, "other": 0.04}
OTHER_WORK_ENDS = 0.004
RPM_SPREAD, RPM_ODD, RPM_TWICE = 0.02, 0.05, 0.01  # twice or half: what a listener mistakes first
RATE_REACH, RATE_ANY = 1.2, 0.02  # how alike the rates of two sections are, in steps of `RATES`
ODD_LN_RANGE, ANY_LN_RANGE = 1.2, 4.0


@dataclass(frozen=True)
class Step:
    """What was heard in one step of `STEP_S`.

    Attributes
    ----------
    engaged
        Share of it with a tooth in metal.
    stopped
        Whether the spindle stood; None where nobody can tell.
    rpm
        Spindle speed heard, None while it is not known.
    new_run
        The spindle came to this speed just now: its speed is evidence once, not at every step.
    """

    engaged: float
    stopped: bool | None
    rpm: float | None
    new_run: bool


class ProgramModel:
    """The states of a program and how they follow one another.

    Parameters
    ----------
    sections
        In the order in which they are run.
    rapid_known
        Their rapids were timed with the machine's own rate, not with one assumed.

    Attributes
    ----------
    section_of
        Section of each cell, int (cells,).
    gaps
        Number of states between sections: before each one, broken off within each one, each of them without
        and with a stop of the spindle seen, and other work.

    Raises
    ------
    SettingError
        No section, or more than can be followed.
    """

    def __init__(self, sections: Sequence[Section], rapid_known: bool = False):
        if not 0 < len(sections) <= MOST_SECTIONS:
            raise SettingError(
                f"A program with {len(sections)} sections cannot be followed by ear.",
                f"From 1 to {MOST_SECTIONS} sections can.",
            )
        self.sections = tuple(sections)
        self.tools = [section.tool for section in sections]
        self._cut_into_cells(1.0 if rapid_known else QUICK_RAPIDS)
        self._join_gaps()
        self.rates = _rate_changes()
        self.rates_at_start = _rates_at_start()
        self.advance = np.minimum(1.0, RATES[None, :] * STEP_S / self.size_s[:, None])
        self.advance[self.waits] = np.where(MOVING, STEP_S / WAIT_MEAN_S, 0.0)

    @property
    def count(self) -> int:
        """Number of sections."""
        return len(self.sections)

    def _cut_into_cells(self, rapids: float) -> None:
        spans = [[_quickened(span, rapids) for span in section.spans] for section in self.sections]
        size = max(CELL_S, sum(span.seconds for each in spans for span in each) / MOST_CELLS)
        rows = [(number, *cell) for number, each in enumerate(spans) for cell in cells_of(each, size)]
        self.section_of = np.array([row[0] for row in rows])
        self.size_s = np.array([row[1] for row in rows])
        self.feed_share = np.array([row[2] for row in rows])
        self.waits = np.array([row[3] for row in rows])
        self.first = np.searchsorted(self.section_of, np.arange(self.count))
        self.last = np.append(self.first[1:], len(rows)) - 1
        self.lengths = self.last - self.first + 1
        fed = self.feed_share > 0
        self.before_feed = np.zeros(len(rows), dtype=bool)
        for first, last in zip(self.first, self.last, strict=True):
            ahead = np.argmax(fed[first : last + 1]) if fed[first : last + 1].any() else 0
            self.before_feed[first : first + ahead + 1] = True

    def _join_gaps(self) -> None:
        """Lay out the states between sections and the ways among them and into sections."""
        n = self.count
        self.waiting = np.arange(0, n + 1)
        self.stopped = self.waiting + n + 1
        self.broken = np.arange(2 * n + 2, 3 * n + 2)
        self.broken_stopped = self.broken + n
        self.other_metal, self.other_air = 4 * n + 2, 4 * n + 3
        self.gaps = 4 * n + 4
        self.to_gap = np.zeros((self.gaps, self.gaps))
        self.to_start = np.zeros((self.gaps, n))
        self.to_resume = np.zeros((self.gaps, n))  # anywhere within the section
        # the tool changes, or the same one is called again: either way the spindle stops
        self.needs_stop = [True] + [
            a.tool != b.tool or a.rpm == b.rpm
            for a, b in zip(self.sections, self.sections[1:], strict=False)
        ] + [True]  # fmt: skip
        for number in range(n + 1):
            self._leave_boundary(number)
        for number in range(n):
            self._leave_broken(number)
        self.to_gap[self.other_metal, self.other_metal] = 1 - TO_AIR
        self.to_gap[self.other_metal, self.other_air] = TO_AIR
        self.to_gap[self.other_air, self.other_metal] = TO_METAL
        self.to_gap[self.other_air, self.other_air] = 1 - TO_METAL
        self.to_gap_at_stop = self._ways_at_stop()
        self.starts_without_stop = np.ones(self.gaps)  # 0 for what can only go on once the spindle turns
        self.starts_without_stop[self.waiting] = 0.0
        self.starts_without_stop[self.broken] = 0.0

    def _ways_at_stop(self) -> np.ndarray:
        """Ways between gaps where the spindle is heard to stand: waiting for its stop is over."""
        ways = self.to_gap.copy()
        ways[self.waiting] = 0.0
        ways[self.waiting, self.stopped] = 1.0
        ways[self.broken] = 0.0
        ways[self.broken, self.broken_stopped] = 1.0
        for state in (self.other_metal, self.other_air):
            ways[state] *= 1 - OTHER_WORK_ENDS
            ways[state, self.stopped] = 0.5 * OTHER_WORK_ENDS / (self.count + 1)
            ways[state, self.stopped[0]] += 0.5 * OTHER_WORK_ENDS
        return ways

    def _leave_boundary(self, number: int) -> None:
        n, waiting, stopped = self.count, self.waiting[number], self.stopped[number]
        missed = STOP_MISSED if self.needs_stop[number] else 0.0
        at_once = 0.0 if self.needs_stop[number] else STARTS_AT_ONCE
        self.to_gap[waiting, stopped] = missed
        self.to_gap[waiting, waiting] = 1 - missed - at_once
        if at_once:
            self.to_start[waiting, number] = at_once
        self.to_gap[stopped, stopped] = 1 - STARTS
        self.to_gap[stopped, self.other_air] = STARTS * OTHER_WORK
        self.to_start[stopped] += STARTS * ELSEWHERE / n
        following = number if number < n else 0  # after the last section comes the next part
        self.to_start[stopped, following] += STARTS * NEXT
        self.to_start[stopped, number - 1 if number else 0] += STARTS * AGAIN

    def _leave_broken(self, number: int) -> None:
        n, broken, stopped = self.count, self.broken[number], self.broken_stopped[number]
        same = AFTER_BREAK["again"] + AFTER_BREAK["resume"]
        self.to_gap[broken, broken] = 1 - STARTS * same - STOP_MISSED
        self.to_gap[broken, stopped] = STOP_MISSED
        self.to_gap[stopped, stopped] = 1 - STARTS
        self.to_gap[stopped, self.other_air] = STARTS * AFTER_BREAK["other"]
        for state in (broken, stopped):
            self.to_start[state, number] += STARTS * AFTER_BREAK["again"]
            self.to_resume[state, number] = STARTS * AFTER_BREAK["resume"]
        self.to_start[stopped] += STARTS * AFTER_BREAK["any"] / n
        self.to_start[stopped, 0] += STARTS * AFTER_BREAK["first"]

    def speed_fit(self, rpm: float | None) -> np.ndarray:
        """Return how well a speed heard fits each section, relative to one about which nothing is known."""
        if rpm is None:
            return np.ones(self.count)
        told = np.array([section.rpm or np.nan for section in self.sections])
        away = np.log(rpm / told)
        close, half, twice = (
            np.exp(-0.5 * ((away - offset) / RPM_SPREAD) ** 2) / (RPM_SPREAD * sqrt(2 * np.pi))
            for offset in (0.0, -log(2), log(2))
        )
        odd = np.where(np.abs(away) < ODD_LN_RANGE / 2, 1 / ODD_LN_RANGE, 0.02)
        sure = 1 - RPM_ODD - 2 * RPM_TWICE
        fit = (sure * close + RPM_TWICE * (half + twice) + RPM_ODD * odd) * ANY_LN_RANGE
        return np.where(np.isnan(told), 1.0, fit)


def _quickened(span: Span, rapids: float) -> Span:
    return Span("rapid", rapids * span.seconds) if span.kind == "rapid" else span


def cells_of(spans: Sequence[Span], size_s: float) -> list[tuple[float, float, bool]]:
    """Divide a section into cells of (length in s, share at feed, whether the program waits there).

    >>> [tuple(map(float, cell)) for cell in cells_of([Span("rapid", 1.0), Span("feed", 1.0)], 0.5)]
    [(0.5, 0.0, 0.0), (0.5, 0.0, 0.0), (0.5, 1.0, 0.0), (0.5, 1.0, 0.0)]
    """
    pieces: list[list[Span]] = [[]]
    cells: list[tuple[float, float, bool]] = []
    for span in spans:
        if span.kind == "stop":
            cells += _cells_between(pieces.pop(), size_s)
            cells.append((STEP_S, 0.0, True))
            pieces.append([])
        else:
            pieces[-1].append(span)
    return cells + _cells_between(pieces[-1], size_s)


def _cells_between(spans: list[Span], size_s: float) -> list[tuple[float, float, bool]]:
    total = sum(span.seconds for span in spans)
    if total <= 0:
        return []
    count = int(min(max(total / size_s + 1e-9, 1), MOST_IN_SECTION))
    edges = np.linspace(0, total, count + 1)
    ends = np.cumsum([span.seconds for span in spans])
    fed = np.cumsum([span.seconds if span.kind == "feed" else 0.0 for span in spans])
    # feed time up to each edge grows linearly within a span
    reached = np.interp(edges, np.append(0.0, ends), np.append(0.0, fed))
    share = np.diff(reached) / (total / count)
    return [(total / count, float(min(max(each, 0.0), 1.0)), False) for each in share]


def _rate_changes() -> np.ndarray:
    count = len(RATES)
    change = np.zeros((count, count))
    change[0, 1:] = RESUMES / (count - 1)
    for k in range(1, count):
        change[k, 0] = PAUSES
        change[k, 1:] += RATE_JUMP / (count - 1)
        for near in (k - 1, k + 1):
            if 1 <= near < count:
                change[k, near] += RATE_CHANGE / 2
    np.fill_diagonal(change, 0.0)
    np.fill_diagonal(change, 1 - change.sum(axis=1))
    return change


def _rates_at_start() -> np.ndarray:
    """How fast a section goes, given how fast the one before went: the override stays, the corners differ."""
    places = np.arange(len(RATES))
    near = np.exp(-np.abs(places[:, None] - places) / RATE_REACH) + RATE_ANY
    near[0] = 1.0  # of a pause nothing is known
    near[:, 0] = 0.0
    return near / near.sum(axis=1, keepdims=True)
