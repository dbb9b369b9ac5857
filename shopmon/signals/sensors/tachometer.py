"""The tachometer: pulses of the spindle as a column of a block, and the rotation that follows from them.

A pulse stands in a column that is 0 everywhere else, so that it is kept beside the samples it belongs to and
says the same when a recording is heard again.
"""

from dataclasses import dataclass

import numpy as np

from shopmon.signals.block import CodeFormat

# small codes, so that whoever plays the recording with all its columns hears next to nothing of the pulses
STEPS = 64
LEAST_INTERVALS = 3
BOUNCE_SHARE, WHOLE_WITHIN = 0.55, 0.12
MOST_MISSING = 3
HALVES_APART = 0.01
SPARSE = 0.6  # share of zeros from which a signal is a column of pulses
SECOND_MARK = 0.25  # nearer than this part of a turn, the second pulse is taken for a bounce of the first


def edge_codes(edges: list[float], frames: int, code_format: CodeFormat) -> np.ndarray:
    """Write pulses as the codes of a column.

    Parameters
    ----------
    edges
        Where the pulses begin, in samples from the first of the column; those outside it are left out.
    frames
        Length of the column.
    code_format
        An integer format.

    Returns
    -------
    numpy.ndarray
        Shape ``(frames,)``: 0, or 1 plus the place between this sample and the next in 64ths. Of two pulses
        within one sample the first is kept.
    """
    column = np.zeros(frames, np.int16 if code_format == "int16" else np.int32)
    for edge in sorted(edges, reverse=True):
        sample = int(np.floor(edge))
        if 0 <= sample < frames:
            column[sample] = 1 + int((edge - sample) * STEPS)
    return column


def edge_places(column: np.ndarray, first_sample: int = 0) -> np.ndarray:
    """Return where the pulses of a column begin, in samples, to a 128th; the reverse of `edge_codes`.

    Parameters
    ----------
    column
        Shape ``(frames,)``.
    first_sample
        Index of its first sample.
    """
    where = np.flatnonzero(column > 0)
    return first_sample + where + (column[where].astype(np.float64) - 0.5) / STEPS


def pulses_in(signal: np.ndarray) -> np.ndarray:
    """Return where pulses begin in a tachometer's signal, in samples, rising.

    Parameters
    ----------
    signal
        Shape ``(n,)``: a voltage that rises with each mark, whatever its height; or a column that is 0 but
        where a pulse begins, as recordings of the monitor hold it.
    """
    signal = np.asarray(signal, float)
    if signal.size < 2:
        return np.empty(0)
    if np.mean(signal == 0) > SPARSE:
        where = np.flatnonzero(signal != 0)
        return where[np.diff(where, prepend=-2) > 1].astype(float)
    low, high = np.percentile(signal, [0.5, 99.5])
    low, high = (low, high) if high > low else (signal.min(), signal.max())
    if not high > low:
        return np.empty(0)
    # two levels, so that noise on a slow edge is no second pulse
    state = np.where(signal > low + 0.6 * (high - low), 1, np.where(signal < low + 0.4 * (high - low), -1, 0))
    known = np.flatnonzero(state)
    rises = np.flatnonzero((state[known[1:]] > 0) & (state[known[:-1]] < 0))
    over = known[rises + 1]
    middle, before, after = low + 0.5 * (high - low), signal[over - 1], signal[over]
    step = np.where(after > before, after - before, 1.0)
    return over - 1 + np.clip((middle - before) / step, 0.0, 1.0)


@dataclass(frozen=True, kw_only=True)
class Turns:
    """What a run of pulses says of the rotation.

    Attributes
    ----------
    rotation_hz
        Mean over the turns, repaired; None where the pulses make no steady rotation.
    missing, doubled
        How many pulses had to be put in, and left out as bounces.
    per_turn
        2 where the pulses come in pairs of unequal distance: two marks on the shaft. 1 otherwise; two marks
        exactly opposite one another cannot be told from twice the speed by the pulses alone.
    spread
        Standard deviation of the turns' durations as a share of their mean.
    """

    rotation_hz: float | None = None
    missing: int = 0
    doubled: int = 0
    per_turn: int = 1
    spread: float = 0.0


def turns_of(places: np.ndarray, sample_rate_hz: float) -> Turns:
    """Repair a run of pulses and tell the rotation.

    A pulse that follows much too soon is a bounce and is left out; an interval of two, three or four times
    the usual one lacks pulses, which are put in evenly. Where that explains it not, nothing is said.

    Parameters
    ----------
    places
        Where pulses begin, in samples, rising; some twenty turns at most, so that a ramp stays nearly linear.
    sample_rate_hz
        Samples per second.
    """
    places = np.asarray(places, float)
    if places.size <= LEAST_INTERVALS:
        return Turns()
    if shorter := _shorter_of_pair(places):
        halves = places[(places.size - 1) % 2 :: 2]
        per_turn, doubled = (2, 0) if shorter > SECOND_MARK else (1, places.size - halves.size)
        places = halves
    else:
        per_turn = 1
        places, doubled = _without_bounces(places)
    if places.size <= LEAST_INTERVALS:
        return Turns(doubled=doubled)
    intervals, missing = _with_missing(np.diff(places))
    if intervals is None or intervals.size < 2:
        return Turns(doubled=doubled, missing=missing, per_turn=per_turn)
    usual = float(np.mean(intervals))
    return Turns(
        rotation_hz=sample_rate_hz / usual,
        missing=missing,
        doubled=doubled,
        per_turn=per_turn,
        spread=float(np.std(intervals)) / usual,
    )


def turn_numbers(places: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
    """Return the pulses of one mark, without bounces, and at which turn each stands, lost ones counted.

    Parameters
    ----------
    places
        Where pulses begin, in samples, rising.

    Returns
    -------
    tuple or None
        Places and turns (whole numbers from 0), shapes ``(n,)``; None where they make no rotation, or come in
        pairs, so that which of two marks is meant cannot be told.
    """
    places = np.asarray(places, float)
    if places.size <= LEAST_INTERVALS or _shorter_of_pair(places) > SECOND_MARK:
        return None
    places, _ = _without_bounces(places)
    if places.size <= LEAST_INTERVALS:
        return None
    near, counts = float(np.median(np.diff(places[:6]))), []
    for interval in np.diff(places).tolist():
        count = max(1, round(interval / near))
        if count > MOST_MISSING + 1 or abs(interval / count / near - 1) > WHOLE_WITHIN:
            return None
        counts.append(count)
        near = interval / count
    return places, np.concatenate([[0], np.cumsum(counts)])


def speed_along(places: np.ndarray, sample_rate_hz: float) -> tuple[np.ndarray, np.ndarray] | None:
    """Return time in s and rotation in Hz of each turn while the speed changes; None as `turn_numbers`.

    Parameters
    ----------
    places
        Where pulses begin, in samples, rising.
    sample_rate_hz
        Samples per second.
    """
    found = turn_numbers(places)
    if found is None:
        return None
    kept, turns = found
    hz = np.diff(turns) / np.diff(kept) * sample_rate_hz
    return (kept[1:] + kept[:-1]) / 2 / sample_rate_hz, hz


def _without_bounces(places: np.ndarray) -> tuple[np.ndarray, int]:
    """Leave out pulses after which the next comes in its due time all the same.

    A bounce splits one turn in two very unequal parts; what is left must then be even.
    """
    intervals = np.diff(places)
    turn = _likely_turn(intervals)
    kept = [places[0]]
    for place in places[1:]:
        if place - kept[-1] >= BOUNCE_SHARE * turn:
            kept.append(place)
    return np.array(kept), places.size - len(kept)


def _likely_turn(intervals: np.ndarray) -> float:
    """The interval that explains the most: a bounce adds to its neighbour to make it whole."""
    pairs = intervals[:-1] + intervals[1:] if intervals.size > 1 else intervals
    usual = float(np.median(intervals))
    short = intervals < BOUNCE_SHARE * usual
    if short.mean() < 0.25:
        return usual
    # many short ones: bounce after nearly every pulse, so that the pairs are the turns
    return float(np.median(pairs))


def _shorter_of_pair(places: np.ndarray) -> float:
    """Where long and short intervals alternate, the shorter's share of their sum; 0 where they do not."""
    intervals = np.diff(places)
    if intervals.size < 6:
        return 0.0
    first, second = intervals[0::2], intervals[1::2]
    n = min(first.size, second.size)
    sums = first[:n] + second[:n]
    apart = abs(np.median(first) - np.median(second)) / np.median(sums)
    within = max(np.std(first), np.std(second)) / np.median(sums)
    return float(0.5 - apart / 2) if apart > HALVES_APART and apart > 4 * within else 0.0


def _with_missing(intervals: np.ndarray) -> tuple[np.ndarray | None, int]:
    """Divide intervals that are whole multiples of the usual one; None where some are neither."""
    out: list[float] = []
    missing = 0
    near = float(np.median(intervals[:5]))
    for interval in intervals.tolist():
        count = max(1, round(interval / near))
        if count > MOST_MISSING + 1 or abs(interval / count / near - 1) > WHOLE_WITHIN:
            return None, missing
        out += [interval / count] * count
        missing += count - 1
        near = interval / count
    return np.array(out), missing
