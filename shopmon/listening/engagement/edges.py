"""Dating first and last contact to some ten milliseconds, after the fact.

A tool comes into the metal, and goes out of it, over a while, and the force grows about linearly: the
amplitude of the added sound is drawn back (or on) to zero by a straight line.
"""

import numpy as np

LOUDEST_BANDS = 5
LOW, HIGH = 0.15, 0.5
LEAST_APART = 0.25
NOISE_TIMES = 2.5
PLATEAU = 30
NARROWEST = 5
MEAN_OVER_MEDIAN = 1.12  # the background is learned in dB, where noise reads lower than its mean power
LEAST_NOISE = 0.08
EARLY_SHARE, SUDDEN_SHARE = 0.45, 0.23


def added_amplitude(
    history_db: np.ndarray, background_db: np.ndarray, plateau: slice, width: int
) -> np.ndarray:
    """Amplitude of the sound added to the background, in units of the background's, frame by frame.

    Parameters
    ----------
    history_db
        Band levels, shape ``(frames, bands)``.
    background_db
        Band levels of the background, shape ``(bands,)``.
    plateau
        Frames that show what was added; the bands that rose most there are used.
    width
        Frames to smooth over (a turn), centred.
    """
    power = 10.0 ** ((history_db - background_db) / 10)
    loudest = np.argsort(-np.median(power[plateau], axis=0), kind="stable")[:LOUDEST_BANDS]
    width = max(width, NARROWEST)
    smooth = np.convolve(power[:, loudest].mean(axis=1), np.full(width, 1.0 / width), "same")
    return np.sqrt(np.maximum(smooth / MEAN_OVER_MEDIAN - 1.0, 0.0))


def date_start(
    history_db: np.ndarray, background_db: np.ndarray, spread_db: np.ndarray, inside: int, width: int
) -> float:
    """Frame at which the added sound began, a fraction.

    Parameters
    ----------
    history_db, background_db
        See `added_amplitude`.
    spread_db
        Spread of the background's bands.
    inside
        A frame surely within the added sound.
    width
        Frames of a turn.
    """
    last = min(inside + PLATEAU, len(history_db))
    amplitude = added_amplitude(history_db, background_db, slice(inside, last), width)
    full = float(np.median(amplitude[inside:last]))
    if full <= 0:
        return float(inside)
    noise = max(float(np.mean(10 ** (spread_db / 10)) - 1) / np.sqrt(LOUDEST_BANDS), LEAST_NOISE)
    low = min(max(LOW, np.sqrt(NOISE_TIMES * noise) / full), 0.8)
    high = min(max(HIGH, low + LEAST_APART), 1.0)
    below = np.flatnonzero(amplitude[: inside + 1] < low * full)
    first = int(below[-1]) if below.size else 0
    above = np.flatnonzero(amplitude[first:last] >= high * full)
    if not below.size or not above.size:
        return float(first)
    at_low = _crossing(amplitude, first, low * full)
    at_high = _crossing(amplitude, first + int(above[0]) - 1, high * full)
    rise = at_high - at_low
    # smoothing spreads a sudden rise over its width; a slow one it leaves where it is
    spread = max(width, NARROWEST)
    early = EARLY_SHARE * spread * min(max(1.0 + SUDDEN_SHARE - rise / spread, 0.0), 1.0)
    return max(at_low - rise * low / (high - low) + early, 0.0)


def date_end(
    history_db: np.ndarray, background_db: np.ndarray, spread_db: np.ndarray, inside: int, width: int
) -> float:
    """Frame at which the added sound was over; parameters as for `date_start`."""
    last = len(history_db) - 1
    return last - date_start(history_db[::-1], background_db, spread_db, last - inside, width)


def _crossing(values: np.ndarray, index: int, level: float) -> float:
    """Where a straight line from one value to the next reaches the level."""
    if not 0 <= index < len(values) - 1 or values[index + 1] <= values[index]:
        return float(index)
    step = (level - values[index]) / (values[index + 1] - values[index])
    return index + float(min(max(step, 0.0), 1.0))
