"""Pictures of sound over time: columns of tone levels, over hertz or over the multiples of a rotation.

A column shows the loudest of several spectra that lie in it (it *holds peaks*), so that a short ringing
shows however far the picture is zoomed out. A tone reads its true level in dB re a full-scale sine with every
length of window (`tone_levels`).
"""

from functools import lru_cache

import numpy as np
from scipy import fft

from shopmon.signals.levels import power_db
from shopmon.signals.spectra import hann_window, power_of, sine_scaled
from shopmon.signals.tone_levels import hann_tone_levels

LONGEST_WINDOW_S = 0.18
WINDOWS_PER_COLUMN = 8.0
LEAST_WINDOW = 256
MOST_FRAMES_AT_ONCE = 128
CODE_FLOOR_DB = -100.0
CODE_STEP_DB = 0.4


def window_length(column_s: float, sample_rate_hz: float) -> int:
    """Return the window that suits columns of a width: a power of two, short where time is stretched.

    Examples
    --------
    >>> [window_length(width, 48_000.0) for width in (1.0, 0.0125, 0.001)]
    [8192, 4096, 512]
    """
    wanted_s = min(WINDOWS_PER_COLUMN * column_s, LONGEST_WINDOW_S)
    return max(LEAST_WINDOW, 2 ** round(np.log2(max(1.0, wanted_s * sample_rate_hz))))


@lru_cache(maxsize=16)
def _window(length: int) -> np.ndarray:
    return sine_scaled(hann_window(length)).astype(np.float32)


def column_starts(first: float, step: float, count: int, length: int) -> np.ndarray:
    """Return where the windows of each column begin, in samples; shape ``(count, windows)``.

    Parameters
    ----------
    first
        Sample at which the first column begins.
    step
        Width of a column in samples.
    count
        How many columns.
    length
        Length of a window. They overlap by half or more, and their middles lie inside the column.
    """
    windows = max(1, int(np.ceil(step / (length / 2))))
    within = (np.arange(windows) + 0.5) / windows
    middles = first + step * (np.arange(count)[:, None] + within)
    return np.rint(middles - length / 2).astype(np.int64)


def column_levels(
    samples: np.ndarray, starts: np.ndarray, length: int, bins: int | None = None
) -> np.ndarray:
    """Return the levels of each column in dB re a full-scale sine.

    Parameters
    ----------
    samples
        Shape ``(n,)``, full scale being 1.
    starts
        Shape ``(columns, windows)``, from `column_starts`, counted from ``samples[0]``. Windows that would
        reach beyond an end are moved inside.
    length
        Of the window; where `samples` are fewer, all of them are one window, filled up with silence.
    bins
        How many, from the lowest one; None for all. What is not looked at costs most of the time.

    Returns
    -------
    numpy.ndarray
        float32 of shape ``(columns, bins)``; all are ``length // 2 + 1``.
    """
    if samples.size < length:
        samples = np.concatenate((samples, np.zeros(length - samples.size, np.float32)))
    inside = np.clip(starts, 0, samples.size - length)
    views = np.lib.stride_tricks.sliding_window_view(samples, length)
    per_run = max(1, MOST_FRAMES_AT_ONCE // starts.shape[1])
    known = length // 2 + 1
    wanted = known if bins is None else min(bins, known)
    more = min(wanted + 1, known)  # the last bin is read beside its neighbour, too
    held = np.empty((starts.shape[0], more), np.float32)
    for run in range(0, starts.shape[0], per_run):
        some = inside[run : run + per_run]
        power = power_of(fft.rfft(views[some.ravel()] * _window(length), axis=-1)[:, :more])
        held[run : run + per_run] = power.reshape(*some.shape, -1).max(axis=1)
    return hann_tone_levels(length).correct(power_db(held))[:, :wanted]


def bin_edges_hz(length: int, sample_rate_hz: float) -> np.ndarray:
    """Return the frequencies between the bins of a transform, shape ``(length // 2 + 2,)``."""
    return (np.arange(length // 2 + 2) - 0.5) * sample_rate_hz / length


def onto_rows(levels_db: np.ndarray, source_edges_hz: np.ndarray, edges_hz: np.ndarray) -> np.ndarray:
    """Bring columns onto other rows; each row takes the loudest of what lies in it.

    Parameters
    ----------
    levels_db
        Shape ``(columns, bins)``, of any type that can be compared.
    source_edges_hz
        Frequencies between the bins, ascending, shape ``(bins + 1,)``.
    edges_hz
        Frequencies between the rows, ascending, shape ``(rows + 1,)``. A bin belongs to the row in which its
        middle lies; a row without any takes the nearest bin. Rows beyond the last bin take that one, so ask
        for none of them.
    """
    middles = (source_edges_hz[:-1] + source_edges_hz[1:]) / 2
    within = np.searchsorted(middles, edges_hz)
    nearest = np.searchsorted(source_edges_hz, (edges_hz[:-1] + edges_hz[1:]) / 2, side="right") - 1
    places = np.clip(np.minimum(within[:-1], nearest), 0, levels_db.shape[-1] - 1)
    # the last edge only ends the row before it
    last = min(max(places[-1] + 1, within[-1]), levels_db.shape[-1])
    return np.maximum.reduceat(levels_db[..., :last], places, axis=-1)


def onto_orders(
    levels_db: np.ndarray,
    source_edges_hz: np.ndarray,
    edges_orders: np.ndarray,
    rotation_hz: np.ndarray,
    nothing,
) -> np.ndarray:
    """Bring columns onto rows of spindle orders, each by the rotation at its time.

    Parameters
    ----------
    levels_db, source_edges_hz
        As for `onto_rows`.
    edges_orders
        Multiples of the rotation between the rows, ascending, shape ``(rows + 1,)``.
    rotation_hz
        Of each column, shape ``(columns,)``; NaN where it is not known.
    nothing
        What stands where no speed is known, and above the highest frequency.
    """
    out = np.full((levels_db.shape[0], edges_orders.size - 1), nothing, levels_db.dtype)
    for column in np.flatnonzero(np.isfinite(rotation_hz) & (rotation_hz > 0)):
        edges_hz = edges_orders * rotation_hz[column]
        rows = int(np.searchsorted(edges_hz[:-1], source_edges_hz[-1]))
        if rows:
            out[column, :rows] = onto_rows(levels_db[column], source_edges_hz, edges_hz[: rows + 1])
    return out


def as_codes(levels_db: np.ndarray) -> np.ndarray:
    """Return levels as bytes: code 0 is -100 dB or less, and each step is 0.4 dB.

    Examples
    --------
    >>> as_codes(np.array([-120.0, -100.0, -20.0, 0.0]))
    array([  0,   0, 200, 250], dtype=uint8)
    """
    codes = np.rint((levels_db - CODE_FLOOR_DB) / CODE_STEP_DB)
    return np.clip(codes, 0, 255).astype(np.uint8)
