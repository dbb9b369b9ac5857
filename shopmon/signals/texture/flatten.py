"""Takes light out of a picture: what is left are the marks, with weights where glare hides them."""

from dataclasses import dataclass

import numpy as np

ORDER = 3  # of the polynomial in each direction that stands for the light
FITTED_POINTS = 96  # along the longer side
CLIPPED = 3.0  # spreads: what is brighter than its surroundings by more counts no more
LOCAL_SHARE = 0.12  # of the shorter side: over which contrast is made even
FULL, EMPTY = 0.995, 0.005  # of the range that the picture uses: overexposed and black
SIGHT = 0.3  # a local spread below this share of the median one is not blown up further


@dataclass(frozen=True, eq=False)
class Flat:
    """A picture without its light.

    Attributes
    ----------
    marks
        Contrast in units of its local spread, 0 where nothing can be seen; shape ``(rows, columns)``.
    seen
        Share of the picture that is neither overexposed nor black.
    contrast
        Standard deviation of the marks before contrast was made even, as a share of the range of the picture.
    """

    marks: np.ndarray
    seen: float
    contrast: float


def flatten(picture: np.ndarray) -> Flat:
    """Take uneven light and glare out of a picture.

    Parameters
    ----------
    picture
        Grey values, shape ``(rows, columns)``, any scale.

    Returns
    -------
    Flat
        Constant pictures give marks of 0 and ``seen`` of 0.
    """
    values = np.asarray(picture, dtype=np.float32)
    low, high = (float(edge) for edge in (values.min(), values.max()))
    if not high > low:
        return Flat(np.zeros_like(values), 0.0, 0.0)
    values = (values - low) / (high - low)
    good = visible(values)
    seen = float(good.mean())
    if seen < 0.05:
        return Flat(np.zeros_like(values), seen, 0.0)
    rest = (values - light(values, good)) * good
    contrast = float(np.sqrt((rest**2).sum() / good.sum()))
    if contrast == 0:
        return Flat(np.zeros_like(values), 0.0, 0.0)
    width = LOCAL_SHARE * min(values.shape)
    share = np.maximum(smooth(good.astype(np.float32), width), 0.05)
    rest -= smooth(rest, 2 * width) / share * good
    spread = np.sqrt(smooth(rest**2, width) / share)
    spread = np.maximum(spread, SIGHT * np.median(spread[good]))
    marks = np.clip(rest / np.maximum(spread, 1e-9), -CLIPPED, CLIPPED) * good
    return Flat(marks, seen, contrast)


def visible(values: np.ndarray) -> np.ndarray:
    """Tell where a picture scaled to 0 … 1 is neither overexposed nor black over more than specks."""
    from scipy.ndimage import binary_dilation, uniform_filter

    hidden = (values >= FULL) | (values <= EMPTY)
    solid = uniform_filter(hidden.astype(np.float32), 5, mode="nearest") > 0.6
    return ~binary_dilation(solid, iterations=4)


def smooth(values: np.ndarray, width: float) -> np.ndarray:
    """Blur by a Gaussian of a standard deviation of `width` pixels, on a coarser grid where that is wide."""
    from scipy.ndimage import gaussian_filter, map_coordinates

    step = max(1, int(width / 6))
    rows, columns = (-(-size // step) for size in values.shape)
    padded = np.pad(
        values, ((0, rows * step - values.shape[0]), (0, columns * step - values.shape[1])), "edge"
    )
    coarse = padded.reshape(rows, step, columns, step).mean(axis=(1, 3))
    coarse = gaussian_filter(coarse, width / step, mode="reflect", truncate=3.0)
    if step == 1:
        return coarse
    places = ((np.arange(size, dtype=np.float32) + 0.5) / step - 0.5 for size in values.shape)
    return map_coordinates(coarse, np.meshgrid(*places, indexing="ij"), order=1, mode="nearest")


def light(values: np.ndarray, good: np.ndarray) -> np.ndarray:
    """Fit the light: a smooth surface through what can be seen, outliers weighing less."""
    rows, columns = (np.linspace(-1, 1, size, dtype=np.float32) for size in values.shape)
    step = max(1, round(max(values.shape) / FITTED_POINTS))
    picked = np.ix_(range(0, values.shape[0], step), range(0, values.shape[1], step))
    across, along = np.meshgrid(columns[::step], rows[::step])
    keep = good[picked]
    terms = np.stack([along[keep] ** i * across[keep] ** j for i, j in _powers()], axis=1)
    target = values[picked][keep]
    weight = np.ones_like(target)
    for _ in range(3):
        solution, *_ = np.linalg.lstsq(terms * weight[:, None], target * weight, rcond=None)
        off = np.abs(target - terms @ solution)
        weight = 1 / (1 + off / max(float(np.median(off)) * 2, 1e-9))
    surface = np.zeros_like(values)
    for (i, j), factor in zip(_powers(), solution.tolist(), strict=True):
        surface += np.float32(factor) * rows[:, None] ** i * columns[None, :] ** j
    return surface


def _powers() -> list[tuple[int, int]]:
    return [(i, j) for i in range(ORDER + 1) for j in range(ORDER + 1) if i + j <= ORDER]
