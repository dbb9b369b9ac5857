"""Long series become short ones without losing their peaks."""

from typing import Any

import numpy as np


def thinned(figures: dict[str, Any], points: int) -> dict[str, Any]:
    """Return figures whose series have at most `points` entries.

    Parameters
    ----------
    figures
        Series of equal length by name, and single values, which stay as they are.
    points
        Most entries per series, at least 1.

    Returns
    -------
    dict
        The same names. Of each run of entries a level (a name that ends in ``_db``) keeps the largest,
        everything else the last one, so that a short peak still shows; ``thinned_by`` tells how many
        entries became one.
    """
    lengths = {len(series) for series in figures.values() if is_series(series)}
    step = -(-max(lengths, default=0) // points) or 1
    result = {
        name: thin_series(name, np.asarray(value), step) if is_series(value) else value
        for name, value in figures.items()
    }
    return {**result, "thinned_by": step}


def is_series(value: Any) -> bool:
    """Tell a series from a single value."""
    return isinstance(value, list | tuple) or (isinstance(value, np.ndarray) and value.ndim == 1)


def thin_series(name: str, series: np.ndarray, step: int) -> np.ndarray:
    """Return one entry per `step` entries of `series`, the last run being shorter where it must."""
    if step == 1 or len(series) == 0:
        return series
    if name.endswith("_db") and np.issubdtype(series.dtype, np.number):
        starts = np.arange(0, len(series), step)
        return np.fmax.reduceat(series, starts)
    return series[np.minimum(np.arange(step - 1, len(series) + step - 1, step), len(series) - 1)]
