"""Sums and means over channels of which some are deaf in a part of the spectrum, or not there for a while."""

import numpy as np

MISSING_SHARE = 0.08


def shared_out(weights: np.ndarray, ready: np.ndarray, hears: np.ndarray) -> np.ndarray:
    """Return weights for each bin: of the channels that hear there, else of any that is ready, else of all.

    Parameters
    ----------
    weights, ready
        Weight of each channel, and whether its usual sound is known; shape ``(channels,)``.
    hears
        Shape ``(channels, bins)``.

    Returns
    -------
    numpy.ndarray
        float32 of shape ``(channels, bins)``; the sum over channels is 1 in each bin.
    """
    made = weights[:, None] * hears
    for instead in (ready[:, None] * hears, np.broadcast_to(weights[:, None], hears.shape)):
        nobody = made.sum(axis=0) == 0
        made[:, nobody] = instead[:, nobody]
    return (made / made.sum(axis=0)).astype(np.float32)


def mean_where(rows: np.ndarray, hears: np.ndarray | None) -> np.ndarray:
    """Return the mean of each row where its channel hears, else 0; None: all hear everything."""
    if hears is None:
        return rows.mean(axis=1)
    return np.where(hears, rows, 0.0).sum(axis=1) / np.maximum(hears.sum(axis=1), 1)


def interrupted(hop: np.ndarray) -> np.ndarray:
    """Return which channels have a stretch of zeros within the hop: samples that were not there.

    Parameters
    ----------
    hop
        Shape ``(channels, frames)``.
    """
    least = max(2, int(MISSING_SHARE * hop.shape[1]))
    zeros = hop == 0
    found = zeros.sum(axis=1) >= least
    for channel in np.flatnonzero(found):
        edges = np.flatnonzero(np.diff(np.concatenate([[False], zeros[channel], [False]]).astype(np.int8)))
        found[channel] = np.diff(edges)[::2].max() >= least
    return found


def weighted_sum(weights: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Weighted sum over channels; sorted first, so that their order changes nothing."""
    within = weights if weights.ndim == 1 else weights.reshape(len(weights), -1).any(axis=1)
    chosen = np.flatnonzero(within)
    parts = [np.asarray(weights[i], dtype=np.float32) * rows[i] for i in chosen]
    if len(parts) <= 2:
        return parts[0] if len(parts) == 1 else parts[0] + parts[1]
    return np.sort(parts, axis=0).sum(axis=0)


def power_of_db(level_db: np.ndarray) -> np.ndarray:
    """Return the power of levels in dB; by the exponential, which numpy does many at a time."""
    return np.exp(level_db * np.float32(np.log(10) / 10))


def numbers(chosen: np.ndarray) -> tuple[int, ...]:
    """Numbers, from 1, of the chosen channels."""
    return tuple(int(i) + 1 for i in np.flatnonzero(chosen))
