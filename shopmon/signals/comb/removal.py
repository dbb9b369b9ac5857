"""A sound without the comb of a rotation, and the part of it that lies in given bands.

The comb is found by projection in the time domain: within a stretch of a fraction of a second, each multiple
of the turning angle is fitted with an amplitude and phase that may change on a straight line, and taken away.
The angle follows the tracked speed; what the track is off by is found from the sound itself. This is the
synchronous average over turns, written as its Fourier series, with one more term (compare McFadden, *Mech.
Syst. Signal Process.* 1, 1987, 83-95).
"""

import numpy as np
from scipy import fft

from shopmon.signals.spectra import hann_window

LEAST_STRETCH_S, LEAST_TURNS = 0.4, 12.0
HIGHEST_HZ, HIGHEST_SHARE, MOST_ORDERS = 10_000.0, 0.45, 400
SEARCHED = 0.01
COARSE_STEPS, FINE_STEPS, LOW_ORDERS = 801, 81, 12
SEARCH_HZ, PADDING = 4000.0, 4
BLOCK, REACH = 24, 2  # bins of the padded transform
CAP_DB, SIDE_LOBES_DB = 15.0, 20.0
PRICE_DB = 6.0  # of being off by the whole range that is searched, per order looked at


def stretch_frames(rotation_hz: float, sample_rate_hz: float) -> int:
    """Return how many samples are fitted at once: 0.4 s, or twelve turns where those are longer; even."""
    return 2 * round(max(LEAST_STRETCH_S, LEAST_TURNS / rotation_hz) * sample_rate_hz / 2)


def refined_turns(samples: np.ndarray, turns: np.ndarray, sample_rate_hz: float) -> np.ndarray:
    """Return the turning angle with what its track was off by set right, within one percent.

    The speed is taken at which the lines of the comb stand out most, each counted up to 15 dB, so that one
    strong tone beside a line does not pull it.

    Parameters
    ----------
    samples
        Shape ``(n,)``, at least six turns.
    turns
        Turns since the first sample, rising, shape ``(n,)``.
    sample_rate_hz
        Samples per second.
    """
    total = turns[-1]
    grid = np.linspace(0.0, total, fft.next_fast_len(samples.size), endpoint=False)
    over_angle = np.interp(grid, turns, samples) * hann_window(grid.size)
    levels = 20 * np.log10(np.abs(fft.rfft(over_angle, PADDING * grid.size)) + 1e-12)
    rotation_hz = total * sample_rate_hz / samples.size
    orders = np.arange(1, max(2, min(MOST_ORDERS, int(SEARCH_HZ / rotation_hz))) + 1)
    per_order = total * PADDING
    levels = levels[: int((orders[-1] + 1) * (1 + 2 * SEARCHED) * per_order)]
    standing = _standing_lines(levels)
    # coarsely by the low orders: high ones repeat themselves too soon
    low = orders[:LOW_ORDERS]
    off = np.linspace(-SEARCHED, SEARCHED, COARSE_STEPS)
    score = standing[_places(off, low, per_order, levels.size)].sum(axis=1)
    best = off[int(np.argmax(score - PRICE_DB * low.size * (off / SEARCHED) ** 2))]
    for used in (low, orders[: 4 * LOW_ORDERS], orders):
        best += _finely(levels, standing, used, per_order, best, 1.0 / (used[-1] * total))
    return turns * (1 + best)


def _places(off: np.ndarray, orders: np.ndarray, per_order: float, size: int) -> np.ndarray:
    return np.minimum(np.rint(np.outer(1 + off, orders) * per_order).astype(int), size - 1)


def _standing_lines(levels: np.ndarray) -> np.ndarray:
    """How high the lines stand, 0 beside them; neither skirts nor side lobes count."""
    count = levels.size // BLOCK
    blocks = levels[: count * BLOCK].reshape(count, BLOCK).max(axis=1)
    around = np.maximum(blocks, np.maximum(np.roll(blocks, 1), np.roll(blocks, -1)))
    floor = np.maximum(np.repeat(around, BLOCK) - SIDE_LOBES_DB, np.median(levels))
    height = np.zeros_like(levels)
    height[: floor.size] = np.clip(levels[: floor.size] - floor, 0.0, CAP_DB)
    peak = np.zeros(levels.size, bool)
    peak[1:-1] = (levels[1:-1] >= levels[:-2]) & (levels[1:-1] > levels[2:])
    height[~peak] = 0.0
    wide = height.copy()
    for step in range(1, REACH + 1):
        wide[step:] = np.maximum(wide[step:], height[:-step])
        wide[:-step] = np.maximum(wide[:-step], height[step:])
    return wide


def _finely(levels, standing, orders, per_order: float, best: float, width: float) -> float:
    """Return how much farther off the lines are at their highest; none counts for more than its cap."""
    off = np.linspace(-width, width, FINE_STEPS)
    at = np.minimum(np.rint(orders * (1 + best) * per_order).astype(int), levels.size - 1)
    used = orders[standing[at] > CAP_DB / 3]
    if not used.size:
        return 0.0
    found = levels[_places(best + off, used, per_order, levels.size)]
    return float(off[int(np.argmax(np.maximum(found - found.max(axis=0), -CAP_DB).sum(axis=1)))])


def comb_part(
    samples: np.ndarray, turns: np.ndarray, sample_rate_hz: float, window: np.ndarray
) -> np.ndarray:
    """Return what in a stretch repeats with the rotation.

    Parameters
    ----------
    samples
        Shape ``(n,)``.
    turns
        Turns since some moment, shape ``(n,)``.
    sample_rate_hz
        Samples per second.
    window
        Weights of the fit, symmetric, shape ``(n,)``.
    """
    rotation_hz = (turns[-1] - turns[0]) * sample_rate_hz / samples.size
    highest_hz = min(HIGHEST_HZ, HIGHEST_SHARE * sample_rate_hz)
    orders = max(0, min(MOST_ORDERS, int(highest_hz / rotation_hz)))
    along = np.linspace(-1.0, 1.0, samples.size, dtype=np.float32)
    steady, leaning = (window / window.sum()), window * along / np.sum(window * along**2)
    weighed = (2 * np.stack((samples * steady, samples * leaning))).astype(np.complex64)
    one = np.exp(2j * np.pi * (turns % 1.0)).astype(np.complex64)
    phasor, part = one.copy(), np.zeros(samples.size, np.float32)
    for _ in range(orders):
        level, change = weighed @ phasor.conj()
        part += ((level + change * along) * phasor).real
        phasor *= one
    return part


def without_comb(samples: np.ndarray, turns: np.ndarray, sample_rate_hz: float, length: int) -> np.ndarray:
    """Return a sound with the comb of its rotation taken out.

    Parameters
    ----------
    samples
        Shape ``(n,)`` with n a multiple of ``length / 2``, at least `length`. Only what lies half a length
        inside both ends is whole: the ends fade.
    turns
        Turns since some moment, rising, shape ``(n,)``; NaN where the speed is not known: that part stays
        as it is.
    sample_rate_hz
        Samples per second.
    length
        From `stretch_frames`.
    """
    window = hann_window(length).astype(np.float32)
    comb = np.zeros(samples.size, np.float32)
    for first in range(0, samples.size - length + 1, length // 2):
        piece = slice(first, first + length)
        angle = turns[piece]
        if np.isfinite(angle).all() and angle[-1] - angle[0] >= LEAST_TURNS / 2:
            angle = refined_turns(samples[piece], angle - angle[0], sample_rate_hz)
            comb[piece] += window * comb_part(samples[piece], angle, sample_rate_hz, window)
    return samples - comb


def within_bands(
    samples: np.ndarray, sample_rate_hz: float, length: int, bands: list[tuple[int, int, float, float]]
) -> np.ndarray:
    """Return only what lies in bands of frequency, each during its own time.

    Parameters
    ----------
    samples
        Shape ``(n,)`` with n a multiple of ``length / 2``, at least `length`; the ends fade.
    sample_rate_hz
        Samples per second.
    length
        Length of the stretches that are filtered, even.
    bands
        First and end sample, lowest and highest frequency of each.
    """
    window = np.sqrt(hann_window(length)).astype(np.float32)
    frequency_hz = fft.rfftfreq(length, 1 / sample_rate_hz)
    out = np.zeros(samples.size, np.float32)
    for first in range(0, samples.size - length + 1, length // 2):
        keep = np.zeros(frequency_hz.size, bool)
        for begin, end, low_hz, high_hz in bands:
            if begin < first + length and end > first:
                keep |= (frequency_hz >= low_hz) & (frequency_hz <= high_hz)
        if keep.any():
            piece = slice(first, first + length)
            out[piece] += window * fft.irfft(fft.rfft(samples[piece] * window) * keep, length)
    return out
