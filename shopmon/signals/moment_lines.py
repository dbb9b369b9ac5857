"""The lines of one moment's spectrum, with their frequency and level read between the bins."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import fft

from shopmon.signals.levels import power_db
from shopmon.signals.spectra import LocalFloor, hann_window, power_of, sine_scaled
from shopmon.signals.tone_levels import hann_tone_levels

LOWEST_HZ, FLOOR_WIDTH_HZ = 15.0, 120.0
SEEN_DB = 12.0
MOST_LINES = 48
ORDERS_TRIED, ORDERS_NEEDED, LEAST_ROTATION_HZ = 8, 4, 8.0


@dataclass(frozen=True, kw_only=True, eq=False)
class MomentLines:
    """What a moment's spectrum shows.

    Attributes
    ----------
    step_hz
        Distance of the bins.
    levels_db
        dB re a full-scale sine, shape ``(bins,)``; lone tones read their true level.
    frequency_hz, level_db, over_floor_db
        Of each line, ascending in frequency, shape ``(lines,)``.
    """

    step_hz: float
    levels_db: np.ndarray
    frequency_hz: np.ndarray
    level_db: np.ndarray
    over_floor_db: np.ndarray


@lru_cache(maxsize=8)
def _window(length: int) -> np.ndarray:
    return sine_scaled(hann_window(length)).astype(np.float32)


def moment_lines(samples: np.ndarray, sample_rate_hz: float) -> MomentLines:
    """Return spectrum and lines of a short stretch of sound.

    Parameters
    ----------
    samples
        Shape ``(n,)``, full scale being 1; at least 64.
    sample_rate_hz
        Samples per second.
    """
    length, step_hz = samples.size, sample_rate_hz / samples.size
    reader = hann_tone_levels(length)
    raw = power_db(power_of(fft.rfft((samples - samples.mean()) * _window(length)))).astype(np.float32)
    block = max(8, 2 * round(FLOOR_WIDTH_HZ / step_hz / 2))
    floor = LocalFloor(raw.size, min(block, raw.size))(raw) if raw.size >= 2 * block else np.median(raw)
    height = raw - floor
    peak = np.zeros(raw.size, bool)
    peak[1:-1] = (raw[1:-1] >= raw[:-2]) & (raw[1:-1] > raw[2:]) & (height[1:-1] > SEEN_DB)
    peak[: max(1, int(LOWEST_HZ / step_hz))] = False
    peaks = np.flatnonzero(peak)
    peaks = np.sort(peaks[np.argsort(-height[peaks], kind="stable")[:MOST_LINES]])
    places, levels = reader.places(raw, peaks)
    return MomentLines(
        step_hz=step_hz,
        levels_db=reader.correct(raw),
        frequency_hz=places * step_hz,
        level_db=levels,
        over_floor_db=height[peaks],
    )


def other_rotation_hz(frequency_hz: np.ndarray, tolerance_hz: float) -> float | None:
    """Return a rotation of which several of the lines are low multiples, None where there is none.

    At least four of its first eight multiples must be there, three of them among the first four: a family of
    chatter lines is spaced evenly, but is no series from one up.

    Parameters
    ----------
    frequency_hz
        Lines that are on no multiple of the spindle's rotation, shape ``(lines,)``.
    tolerance_hz
        How far a line may lie off.

    Examples
    --------
    >>> other_rotation_hz(np.array([24.7, 49.4, 74.1, 98.8, 700.0]), 1.0)
    24.7
    >>> other_rotation_hz(np.array([843.0, 1433.0, 2023.0, 2613.0]), 1.0) is None
    True
    """
    best, most = None, 0
    orders = np.arange(1, ORDERS_TRIED + 1)
    for line in frequency_hz:
        for order in (1, 2, 3):
            rotation_hz = float(line) / order
            if rotation_hz < LEAST_ROTATION_HZ:
                continue
            away = np.abs(frequency_hz[:, None] - orders * rotation_hz).min(axis=0)
            there = away <= tolerance_hz
            if there.sum() >= ORDERS_NEEDED and there[:4].sum() >= 3 and there.sum() > most:
                best, most = rotation_hz, int(there.sum())
    return best
