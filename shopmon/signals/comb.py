"""What the search for combs is built from: lines without their skirts, and smooth paths over candidates."""

import numpy as np

LINE_CAP_DB = 20.0


def peaks_near(values: np.ndarray) -> np.ndarray:
    """Return for each bin the highest local maximum among it and its two neighbours, 0 where there is none.

    A strong line's skirt is no line: a comb that only touches skirts must not score.
    """
    peaks = np.zeros_like(values)
    inner = values[1:-1]
    np.multiply(inner, (inner >= values[:-2]) & (inner >= values[2:]), out=peaks[1:-1])
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
    best = previous.copy()
    for distance in range(1, reach + 1):
        price = price_per_step * distance
        np.maximum(best[distance:], previous[:-distance] - price, out=best[distance:])
        np.maximum(best[:-distance], previous[distance:] - price, out=best[:-distance])
    return best
