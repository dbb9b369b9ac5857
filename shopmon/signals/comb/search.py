"""What the search for combs is built from: lines without their skirts, and smooth paths over candidates."""

import numpy as np

LINE_CAP_DB = 20.0


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
    best, reached = previous.copy(), 0
    while reached < reach:
        # what has come so far may go on by as much again and one more: the price is the same in any steps
        step = min(reached + 1, reach - reached)
        priced = best - price_per_step * step
        np.maximum(best[step:], priced[:-step], out=best[step:])
        np.maximum(best[:-step], priced[step:], out=best[:-step])
        reached += step
    return best
