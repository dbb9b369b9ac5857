"""Which step of a program section an engagement belongs to, and how two runs of it lie over one another.

A step is a stretch at feed between rapids, dwells and stops of the program. A slower override stretches the
steps and not the rapids; a pause lies within a step or between two. What was heard when is therefore brought
from one run to the other step by step, within a step from edge to edge of the engagements, evenly between.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from shopmon.cutting.program.sections import Section

Spans = Sequence[tuple[float, float]]

SHORTEST_AIR_S = 0.4  # a shorter rapid is not heard between two engagements
PACES = np.geomspace(0.5, 5.0, 48)  # real time over program time at feed: overrides of 200 to 20 %
FINER = np.geomspace(0.96, 1.04, 5)
CANDIDATES = 8
QUICKEST_RAPIDS = (
    1 / 3
)  # where the program assumed a rate of rapids, the machine's may be three times as high
PACE_LN_SPREAD = 0.4  # overrides far from 100 % are seldom
OVERLONG_SPREAD = 0.03  # corners, and first and last contact dated wrongly
# all costs are logarithms of how seldom it is: our own judgement
PAUSE_COSTS, TOO_SOON_COSTS_PER_S, TOO_LATE_COSTS_PER_S, APPROACH_SHARE = 4.0, 12.0, 0.5, 0.2
UNHEARD_COSTS, NOT_RUN_COSTS = 3.0, 2.0  # a step between others; one before or after them
ONLY_ONE_COSTS, METAL_LN_SPREAD = 4.0, 0.05  # of two runs of the same program
GAP_COSTS = 1.2  # air within a step: ribs and bores are gone over
IN_AIR_COSTS = 15.0  # a step all in air, per unit of its share
MOST_PAUSES, HOPELESS = 4, 60.0
SPLIT_COSTS, LOST_COSTS, LENGTH_SPREAD = 2.0, 4.0, 0.08
MOST_PAIRS = 40_000


@dataclass(frozen=True)
class Step:
    """A stretch at feed: its time in the program, and the time of rapids and waits before it, s."""

    feed_s: float
    air_before_s: float


@dataclass(frozen=True)
class Placed:
    """Engagements of one run on the steps of the program.

    Attributes
    ----------
    groups
        For each step the first and the end index of its engagements; None where none was heard.
    pace
        Real time over program time at feed: 1.25 at an override of 80 %.
    cost
        How badly it fits; comparable between placements of the same engagements.
    """

    groups: tuple[tuple[int, int] | None, ...]
    pace: float
    cost: float


@dataclass(frozen=True)
class StepPair:
    """One step in both runs: first and last contact, and the pauses within, s."""

    number: int
    first: tuple[float, float]
    second: tuple[float, float]
    first_paused_s: float
    second_paused_s: float


@dataclass(frozen=True)
class Warp:
    """How times of the second run lie over those of the first.

    Attributes
    ----------
    second_s, first_s
        Knots, neither ever falling; between them it goes evenly, beyond them one to one.
    steps
        The steps that were heard in both.
    """

    second_s: np.ndarray
    first_s: np.ndarray
    steps: tuple[StepPair, ...]

    def moved(self, first_s: float, second_s: float) -> "Warp":
        """Return the same with the times of each run counted from somewhere else."""

        def later(pair: StepPair) -> StepPair:
            """Return a step with its times counted so."""
            ours, theirs = (
                (span[0] + by, span[1] + by) for span, by in ((pair.first, first_s), (pair.second, second_s))
            )
            return replace(pair, first=ours, second=theirs)

        return Warp(self.second_s + second_s, self.first_s + first_s, tuple(map(later, self.steps)))

    def to_first(self, second_s: np.ndarray | float) -> np.ndarray:
        """Return the times of the first run that belong to times of the second."""
        t = np.asarray(second_s, dtype=float)
        inside = np.interp(t, self.second_s, self.first_s)
        before, after = t < self.second_s[0], t > self.second_s[-1]
        inside = np.where(before, self.first_s[0] + t - self.second_s[0], inside)
        return np.where(after, self.first_s[-1] + t - self.second_s[-1], inside)


def steps_of(section: Section) -> list[Step]:
    """Return the steps of a section, those joined between which no air would be heard.

    Examples
    --------
    >>> from shopmon.cutting.program.sections import Span
    >>> spans = (Span("rapid", 1.0), Span("feed", 5.0), Span("rapid", 0.1), Span("feed", 2.0),
    ...          Span("dwell", 1.0), Span("feed", 3.0))
    >>> one = Section(tool=1, rpm=9000.0, start_line=1, end_line=2, feed_s=10.0, rapid_s=1.1, dwell_s=1.0,
    ...               feed_length_mm=100.0, stops=0, note="", spans=spans)
    >>> [(round(step.feed_s, 1), step.air_before_s) for step in steps_of(one)]
    [(7.1, 1.0), (3.0, 1.0)]
    """
    steps: list[Step] = []
    air_s = 0.0
    for span in section.spans:
        if span.kind != "feed":
            air_s += span.seconds if span.kind != "stop" else SHORTEST_AIR_S
        elif steps and air_s < SHORTEST_AIR_S:
            steps[-1] = Step(steps[-1].feed_s + air_s + span.seconds, steps[-1].air_before_s)
            air_s = 0.0
        else:
            steps.append(Step(span.seconds, air_s))
            air_s = 0.0
    return steps


def placements(steps: Sequence[Step], engaged: Spans) -> list[Placed]:
    """Find the steps that engagements may belong to: every engagement to one step, in order.

    Parameters
    ----------
    steps
        Of the section.
    engaged
        First and last contact of each, s, in order; all that was heard of one run of the section.

    Returns
    -------
    list of Placed
        The best fitting first; empty where there is no step or no engagement, or very many of both.
    """
    if not steps or not engaged or len(steps) * len(engaged) > MOST_PAIRS:
        return []
    spans = np.asarray(engaged, dtype=float)
    found: dict[tuple, Placed] = {}
    for pace in PACES:
        _keep_better(found, _placed_at(steps, spans, float(pace)))
    for rough in sorted(found.values(), key=_cheapness)[:CANDIDATES]:
        for pace in rough.pace * FINER:
            _keep_better(found, _placed_at(steps, spans, float(pace)))
    return sorted(found.values(), key=_cheapness)[:CANDIDATES]


def _cheapness(found: Placed) -> float:
    return found.cost


def _keep_better(found: dict[tuple, Placed], one: Placed) -> None:
    known = found.get(one.groups)
    if known is None or one.cost < known.cost:
        found[one.groups] = one


def _both_placed(steps: Sequence[Step], first: Spans, second: Spans) -> tuple[Placed, Placed] | None:
    """Place two runs of the same program together: what is metal in one is metal in the other."""
    found = [(here, there) for here in placements(steps, first) for there in placements(steps, second)]

    def cost(pair: tuple[Placed, Placed]) -> float:
        """Return what both placements cost, with how far they disagree."""
        return pair[0].cost + pair[1].cost + _disagreement(*pair, first, second)

    return min(found, key=cost, default=None)


def _disagreement(here: Placed, there: Placed, first: Spans, second: Spans) -> float:
    cost = 0.0
    for ours, theirs in zip(here.groups, there.groups, strict=True):
        if ours is None or theirs is None:
            cost += 0.0 if ours is theirs else ONLY_ONE_COSTS
            continue
        metal_s = [
            sum(end - start for start, end in spans[group[0] : group[1]]) / found.pace
            for spans, group, found in ((first, ours, here), (second, theirs, there))
        ]
        off = np.log(metal_s[1] / metal_s[0]) / METAL_LN_SPREAD
        cost += min(0.5 * float(off) ** 2, ONLY_ONE_COSTS)
    return cost


def _placed_at(steps: Sequence[Step], spans: np.ndarray, pace: float) -> Placed:
    """Place engagements at one pace: the cheapest way through (steps, engagements)."""
    count, n = len(steps), len(spans)
    best = np.full((count + 1, n + 1), np.inf)
    best[:, 0] = NOT_RUN_COSTS * np.arange(count + 1)  # the run may have begun at any step
    came = np.full((count + 1, n + 1), -1)
    for k, step in enumerate(steps):
        for end in range(1, n + 1):
            best[k + 1, end] = best[k, end] + (UNHEARD_COSTS if end < n else NOT_RUN_COSTS)
            came[k + 1, end] = end
            for first in range(end - 1, -1, -1):
                if not np.isfinite(best[k, first]):
                    continue
                own = _cost(step, spans[first:end], pace)
                if own > HOPELESS:
                    break  # with still more engagements it fits even less
                cost = best[k, first] + own
                if first:
                    cost += _between(step, spans[first, 0] - spans[first - 1, 1], pace)
                if cost < best[k + 1, end]:
                    best[k + 1, end], came[k + 1, end] = cost, first
    groups: list[tuple[int, int] | None] = []
    end = n
    for k in range(count, 0, -1):
        first = int(came[k, end]) if end else 0
        groups.append((first, end) if first < end else None)
        end = first
    cost = float(best[count, n]) + 0.5 * (np.log(pace) / PACE_LN_SPREAD) ** 2
    return Placed(tuple(reversed(groups)), pace, cost)


def _cost(step: Step, spans: np.ndarray, pace: float) -> float:
    """How badly engagements fit a step: too long without a pause is bad, shorter may be air."""
    wanted_s = pace * step.feed_s
    took_s = float(spans[-1, 1] - spans[0, 0])
    gaps = spans[1:, 0] - spans[:-1, 1]
    if took_s <= wanted_s * (1 + OVERLONG_SPREAD):
        return _short(wanted_s, took_s) + GAP_COSTS * len(gaps)
    cost = _long(wanted_s, took_s) + GAP_COSTS * len(gaps)
    for number, gap in enumerate(np.sort(gaps)[::-1][:MOST_PAUSES], 1):
        took_s -= float(gap)
        left = GAP_COSTS * (len(gaps) - number) + _long(wanted_s, took_s) + _short(wanted_s, took_s)
        cost = min(cost, PAUSE_COSTS * number + left)
    return cost


def _long(wanted_s: float, took_s: float) -> float:
    return (max(0.0, took_s / wanted_s - 1) / OVERLONG_SPREAD) ** 2


def _short(wanted_s: float, took_s: float) -> float:
    return IN_AIR_COSTS * max(0.0, 1 - took_s / wanted_s)


def _between(step: Step, air_s: float, pace: float) -> float:
    """What it costs that a step begins sooner than its rapids allow, or much later."""
    soon_s = QUICKEST_RAPIDS * step.air_before_s - air_s
    late_s = air_s - step.air_before_s - APPROACH_SHARE * pace * step.feed_s
    return TOO_SOON_COSTS_PER_S * max(0.0, soon_s) + min(TOO_LATE_COSTS_PER_S * max(0.0, late_s), PAUSE_COSTS)


def laid_by_steps(
    steps: Sequence[Step], first: Spans, second: Spans, within: tuple[Spans, Spans] | None = None
) -> Warp | None:
    """Lay the second run of a section over the first, step by step.

    Parameters
    ----------
    steps
        Of the section.
    first, second
        All engagements of the section that were heard in each run, s.
    within
        Those of them that are of the two cuts; only steps with such ones in both are compared. None: all.

    Returns
    -------
    Warp or None
        None where no step was heard in both.
    """
    found = _both_placed(steps, first, second)
    if found is None:
        return None
    mine = [set(map(tuple, spans)) for spans in within or (first, second)]
    knots: list[tuple[float, float]] = []
    pairs = []
    for number, groups in enumerate(zip(*(one.groups for one in found), strict=True)):
        if None in groups:
            continue
        here, there = (
            [span for span in map(tuple, run[group[0] : group[1]]) if span in own]
            for run, group, own in zip((first, second), groups, mine, strict=True)
        )
        if not here or not there:
            continue
        inner = _knots(here, there)
        knots += [
            knot for knot in inner if not knots or (knot[0] >= knots[-1][0] and knot[1] >= knots[-1][1])
        ]
        pairs.append(_pair(number, here, there, inner))
    if not pairs:
        return None
    at = np.array(knots)
    return Warp(second_s=at[:, 1], first_s=at[:, 0], steps=tuple(pairs))


def _pair(number: int, here: Spans, there: Spans, knots: list[tuple[float, float]]) -> StepPair:
    """Return a step of both runs; a pause is where one run goes on and the other stands."""
    at = np.array(knots)
    went = np.diff(at, axis=0)
    stood = [float(went[went[:, other] <= 1e-9, mine].sum()) for mine, other in ((0, 1), (1, 0))]
    return StepPair(number, (here[0][0], here[-1][1]), (there[0][0], there[-1][1]), *stood)


def _knots(here: Spans, there: Spans) -> list[tuple[float, float]]:
    """Pair the edges of engagements within one step: (time of the first run, time of the second)."""
    groups = _matched(here, there)
    knots: list[tuple[float, float]] = []
    for ours, theirs in groups:
        knots += _even(ours, theirs)
    return knots


def _even(ours: Spans, theirs: Spans) -> list[tuple[float, float]]:
    """Let metal of both go by evenly; where one has a break and the other has not, it stands meanwhile."""
    shares = [_shares(spans) for spans in (ours, theirs)]
    at = np.unique(np.concatenate([each[0] for each in shares]))
    knots = []
    for share in at:
        first, second = _times_at(ours, shares[0], share), _times_at(theirs, shares[1], share)
        knots += [(first[0], second[0]), (first[1], second[1])]
    return knots


def _shares(spans: Spans) -> tuple[np.ndarray, np.ndarray]:
    lengths = np.array([end - start for start, end in spans])
    reached = np.append(0.0, np.cumsum(lengths))
    return np.round(reached / max(reached[-1], 1e-9), 12), reached


def _times_at(spans: Spans, shares: tuple[np.ndarray, np.ndarray], share: float) -> tuple[float, float]:
    """Return when a share of the metal had gone by, and when it went on: later, where there is a break."""
    reached = share * shares[1][-1]
    edge = np.flatnonzero(np.isclose(shares[0], share, atol=1e-9))
    if len(edge):
        k = int(edge[0])
        if k == 0:
            return spans[0][0], spans[0][0]
        if k == len(spans):
            return spans[-1][1], spans[-1][1]
        return spans[k - 1][1], spans[k][0]
    k = int(np.searchsorted(shares[1], reached, side="right")) - 1
    k = min(k, len(spans) - 1)
    at = spans[k][0] + reached - shares[1][k]
    return at, at


def _matched(here: Spans, there: Spans) -> list[tuple[Spans, Spans]]:
    """Match engagements within one step: one to one, one to several where one run paused, in order."""
    m, n = len(here), len(there)
    if m == 1 or n == 1 or m * n > MOST_PAIRS:
        return [(here, there)]
    lengths = [np.array([end - start for start, end in spans]) for spans in (here, there)]
    scale = lengths[1].sum() / lengths[0].sum()
    sums = [np.append(0.0, np.cumsum(each)) for each in lengths]
    best = np.full((m + 1, n + 1), np.inf)
    best[0, 0] = 0.0
    came: dict[tuple[int, int], tuple[int, int]] = {}
    for i in range(m + 1):
        for j in range(n + 1):
            if not np.isfinite(best[i, j]):
                continue
            for a, b in ((1, 1), (1, 2), (2, 1), (1, 3), (3, 1), (1, 0), (0, 1)):
                if i + a > m or j + b > n:
                    continue
                cost = best[i, j]
                if a and b:
                    metal = sums[0][i + a] - sums[0][i], (sums[1][j + b] - sums[1][j]) / scale
                    cost += (np.log(metal[1] / metal[0]) / LENGTH_SPREAD) ** 2 / 2 + SPLIT_COSTS * (a + b - 2)
                else:
                    cost += LOST_COSTS
                if cost < best[i + a, j + b]:
                    best[i + a, j + b], came[i + a, j + b] = cost, (i, j)
    found: list[tuple[Spans, Spans]] = []
    i, j = m, n
    while i or j:
        before = came[i, j]
        if before[0] < i and before[1] < j:
            found.append((here[before[0] : i], there[before[1] : j]))
        i, j = before
    return found[::-1] or [(here, there)]
