"""What a simulated motion shows: when it stops repeating with the turn, and at which frequency."""

from dataclasses import dataclass

import numpy as np
import scipy.fft

from shopmon.cutting.simulation.time_domain import Motion

CHATTER_RATIO = 0.2  # non-periodic over periodic motion: a fifth, as the onset is defined
LEAST_S = 0.25  # shorter bursts are the tool coming in or going out
WINDOW_TURNS = 6
WINDOW_S = 0.03
LEAST_TURNS = 4  # fewer leave nothing once a straight line is taken out


@dataclass(frozen=True, eq=False)
class Repetition:
    """How well a motion repeats, window by window.

    Attributes
    ----------
    time_s
        Centre of each window, shape ``(windows,)``.
    window_s
        Length of each window, s.
    periodic_m, other_m
        Root mean square of the part that repeats each period, without its mean, and of the rest, m.
    """

    time_s: np.ndarray
    window_s: float
    periodic_m: np.ndarray
    other_m: np.ndarray

    @property
    def ratio(self) -> np.ndarray:
        """Non-periodic over periodic motion; 0 where nothing moves."""
        return self.other_m / np.maximum(self.periodic_m, 1e-12)


def repetition(motion: Motion, periods_per_turn: int = 1) -> Repetition:
    """Split the motion into what repeats each period and the rest.

    In windows of a few periods the motion at each angle is fitted by a straight line over the periods, so
    that a slowly changing depth does not count as a rhythm of its own; what the lines leave is the
    non-periodic part.

    Parameters
    ----------
    motion
        From the simulation.
    periods_per_turn
        1 compares turn with turn; the number of flutes compares tooth with tooth (equal pitch, no runout).
    """
    rows = motion.x_m.shape[0] * periods_per_turn
    columns = motion.x_m.shape[1] // periods_per_turn
    start = np.interp(
        np.arange(rows + 1) / periods_per_turn, np.arange(len(motion.turn_start_s)), motion.turn_start_s
    )
    period = float(np.median(np.diff(start)))
    width = min(max(WINDOW_TURNS, int(np.ceil(WINDOW_S / period))), rows)
    values = np.stack([motion.x_m.reshape(rows, columns), motion.y_m.reshape(rows, columns)])
    firsts = np.arange(0, rows - width + 1, max(1, width // 3)) if width >= LEAST_TURNS else np.arange(0)
    parts = np.array([_split(values[:, first : first + width]) for first in firsts]).reshape(-1, 2)
    return Repetition(start[firsts] + period * width / 2, period * width, parts[:, 0], parts[:, 1])


def _split(window: np.ndarray) -> tuple[float, float]:
    """Root mean square of the periodic part and of the rest of ``(2, periods, steps)``, m."""
    width = window.shape[1]
    slope = np.arange(width) - (width - 1) / 2
    mean = window.mean(axis=1, keepdims=True)
    trend = np.einsum("p,aps->as", slope, window)[:, None] / max(slope @ slope, 1)
    rest = window - mean - slope[:, None] * trend
    freedom = width / max(width - 2, 1)
    wave = mean - mean.mean(axis=2, keepdims=True)
    return float(np.sqrt((wave**2).sum(axis=0).mean())), float(
        np.sqrt((rest**2).sum(axis=0).mean() * freedom)
    )


def chatter_intervals(
    motion: Motion, engaged: tuple[float, float], periods_per_turn: int = 1, entry_s: float = 0.0
) -> list[list[float]]:
    """Find when the non-periodic motion exceeds a fifth of the periodic one.

    Parameters
    ----------
    motion
        Of one engagement.
    engaged
        Start and end of metal contact, s; windows that reach outside are not looked at.
    periods_per_turn
        See `repetition`.
    entry_s
        How long the tool takes to come in and to go out. Where a window is longer than that (a slow spindle),
        the motion bends too much within it to be told from chatter, and these times are left out as well.

    Returns
    -------
    list of [start_s, end_s]
        In order; none shorter than 0.25 s, gaps shorter than that are closed.
    """
    found = repetition(motion, periods_per_turn)
    margin = found.window_s / 2 + (entry_s if found.window_s > entry_s else 0.0)
    inside = (found.time_s >= engaged[0] + margin) & (found.time_s <= engaged[1] - margin)
    times, above = found.time_s[inside], found.ratio[inside] > CHATTER_RATIO
    intervals = _runs(times, above)
    if intervals and intervals[-1][1] == times[-1]:
        intervals[-1][1] = engaged[1]
    return [[start, stop] for start, stop in intervals if stop - start >= LEAST_S]


def _runs(times: np.ndarray, above: np.ndarray) -> list[list[float]]:
    """First and last time of each run of True, short gaps closed."""
    runs: list[list[float]] = []
    for time, loud in zip(times.tolist(), above.tolist(), strict=True):
        if loud and runs and time - runs[-1][1] < LEAST_S:
            runs[-1][1] = time
        elif loud:
            runs.append([time, time])
    return runs


def contact(motion: Motion) -> tuple[float, float] | None:
    """First and last moment with a force on the teeth, s; None where there was none."""
    touched = np.flatnonzero((motion.fx_n != 0).ravel() | (motion.fy_n != 0).ravel())
    if touched.size == 0:
        return None
    times = motion.times_s()
    return float(times[touched[0]]), float(times[touched[-1]])


def strongest_line_hz(motion: Motion, interval: list[float], periods_per_turn: int = 1) -> tuple[float, str]:
    """Find the strongest line of the non-periodic motion within an interval, and the axis it shows on.

    Parameters
    ----------
    motion
        Of the engagement.
    interval
        Start and end, s; at most two seconds from its middle are used.
    periods_per_turn
        See `repetition`.
    """
    middle, half = (interval[0] + interval[1]) / 2, min((interval[1] - interval[0]) / 2, 1.0)
    first, last = np.searchsorted(motion.turn_start_s, [middle - half, middle + half])
    last = max(min(last, motion.x_m.shape[0]), first + 1)
    turn_s = float(np.mean(np.diff(motion.turn_start_s[first : last + 1])))
    best = (0.0, 0.0, "x")
    for axis, values in (("x", motion.x_m[first:last]), ("y", motion.y_m[first:last])):
        rows = values.reshape(-1, values.shape[1] // periods_per_turn)
        height, frequency = _peak((rows - rows.mean(axis=0)).ravel(), turn_s / values.shape[1])
        best = max(best, (height, frequency, axis))
    return best[1], best[2]


def _peak(values: np.ndarray, step_s: float) -> tuple[float, float]:
    """Height and frequency of the highest line, its place refined by a parabola through the logarithms."""
    spectrum = np.abs(scipy.fft.rfft((values - values.mean()) * np.hanning(values.size)))
    top = int(np.argmax(spectrum[1:-1])) + 1
    below, at, above = np.log(spectrum[top - 1 : top + 2] + 1e-300)
    shift = 0.5 * (below - above) / min(below - 2 * at + above, -1e-300)
    return float(spectrum[top]), float((top + shift) / (values.size * step_s))
