"""Levels in decibels. A full-scale sine reads 0 dB: the reference is its amplitude, not its r.m.s."""

import math

import numpy as np

SILENCE_DB = -200.0
_SMALLEST_POWER = 10.0 ** (SILENCE_DB / 10)

PLATEAU = 3  # samples in a row
# the largest positive 8-bit code
FULL_SCALE = 0.992


def power_db(power):
    """Express a power in decibels, silence being `SILENCE_DB`.

    Parameters
    ----------
    power : array_like
        Power relative to that of a full-scale sine (amplitude squared), any shape.

    Returns
    -------
    numpy.ndarray or float
        Same shape as `power`.

    Examples
    --------
    >>> round(float(power_db(0.25)), 2)
    -6.02
    """
    if isinstance(power, float):
        return 10.0 * math.log10(max(power, _SMALLEST_POWER))
    level = np.log10(np.maximum(power, _SMALLEST_POWER))
    level *= 10.0
    return level


def sine_power(samples: np.ndarray, axis: int = 0) -> np.ndarray:
    """Return the alternating power of each channel relative to a full-scale sine.

    Parameters
    ----------
    samples
        Shape ``(frames, channels)``, full scale being 1. A constant offset does not count.
    axis
        Which axis is time.

    Returns
    -------
    numpy.ndarray
        Shape ``(channels,)``; a sine of amplitude a gives a².

    Examples
    --------
    >>> t = np.arange(1000) / 1000
    >>> round(float(sine_power(0.5 * np.sin(2 * np.pi * 50 * t)[:, None])[0]), 6)
    0.25
    """
    rows = samples if axis in (-1, samples.ndim - 1) else np.moveaxis(samples, axis, -1)
    around = rows - np.add.reduce(rows, axis=-1, keepdims=True) / np.float32(rows.shape[-1])
    return np.vecdot(around, around) * (2.0 / rows.shape[-1])


def running_sum(power: np.ndarray) -> np.ndarray:
    """Return the sums of all values before each place, shape ``(n + 1,)``, in double precision.

    Examples
    --------
    >>> running_sum(np.array([1.0, 2.0, 4.0])).tolist()
    [0.0, 1.0, 3.0, 7.0]
    """
    sums = np.empty(power.size + 1)
    sums[0] = 0.0
    np.cumsum(power, dtype=np.float64, out=sums[1:])
    return sums


def full_scale_runs(samples: np.ndarray, limit: float = FULL_SCALE) -> int:
    """Count samples at full scale, all of them together.

    Parameters
    ----------
    samples
        Any shape.
    limit
        From which magnitude a sample counts.
    """
    return int(np.count_nonzero(np.abs(samples) >= limit))


def flat_top_share(samples: np.ndarray) -> float:
    """Return which share of samples lies on plateaus at either extreme: clipped, if below full scale.

    Parameters
    ----------
    samples
        Shape ``(n,)``, any unit.

    Examples
    --------
    >>> flat_top_share(np.array([0.0, 0.4, 0.9, 0.9, 0.9, 0.2, -0.3, -0.9, 0.0, 0.1]))
    0.3
    """
    span = float(np.ptp(samples)) if samples.size else 0.0
    if span == 0:
        return 0.0
    count = 0
    for level in (samples.max(), samples.min()):
        there = np.flatnonzero(np.abs(samples - level) <= 1e-6 * span)
        runs = np.split(there, np.flatnonzero(np.diff(there) > 1) + 1)
        count += sum(run.size for run in runs if run.size >= PLATEAU)
    return count / samples.size
