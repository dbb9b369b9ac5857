"""What the search for combs is built from: lines without their skirts, and smooth paths over candidates."""

from functools import lru_cache

import numpy as np

LINE_CAP_DB = 20.0
FEW = 300  # candidates


def peaks_near(values: np.ndarray) -> np.ndarray:
    """Return for each bin the highest local maximum among it and its two neighbours, 0 where there is none.

    A strong line's skirt is no line: a comb that only touches skirts must not score.
    """
    peaks = np.zeros_like(values)
    inner = values[1:-1]
    highest = inner >= values[:-2]
    highest &= inner >= values[2:]
    np.multiply(inner, highest, out=peaks[1:-1])
    out = peaks.copy()
    np.maximum(out[1:], peaks[:-1], out=out[1:])
    np.maximum(out[:-1], peaks[1:], out=out[:-1])
    return out


def smooth_path_step(previous: np.ndarray, reach: int, price_per_step: float) -> np.ndarray:
    """Carry accumulated scores one step on: each candidate may come from a near one, at a price.

    Parameters
    ----------
    previous
        Accumulated scores, shape ``(candidates,)``.
    reach
        How many candidates away a path may come from.
    price_per_step
        Price per candidate moved.
    """
    if previous.size > FEW:
        return _step_by_step(previous, reach, price_per_step)
    origins, prices = _ways(previous.size, reach, price_per_step, previous.dtype)
    return np.maximum.reduce(previous[origins] - prices, axis=0)


@lru_cache(maxsize=32)
def _ways(size: int, reach: int, price_per_step: float, dtype) -> tuple[np.ndarray, np.ndarray]:
    """Whence each candidate may come, ``(ways, candidates)``, and at what price, ``(ways, 1)``."""
    moved = np.arange(-reach, reach + 1)[:, None]
    # beyond either end the last one stands in, at a higher price than its own
    origins = np.clip(np.arange(size) + moved, 0, size - 1)
    return origins, (price_per_step * np.abs(moved)).astype(dtype)


def _step_by_step(previous: np.ndarray, reach: int, price_per_step: float) -> np.ndarray:
    """Do the same in passes over all candidates: of many, a table of all ways would cost more."""
    best, reached = previous.copy(), 0
    while reached < reach:
        # what has come so far may go on by as much again and one more: the price is the same in any steps
        step = min(reached + 1, reach - reached)
        priced = best - price_per_step * step
        np.maximum(best[step:], priced[:-step], out=best[step:])
        np.maximum(best[:-step], priced[step:], out=best[:-step])
        reached += step
    return best
