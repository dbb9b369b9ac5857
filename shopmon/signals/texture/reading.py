"""What periodic marks a picture shows: their distance and direction in pixels, and how certain they are."""

from dataclasses import dataclass
from math import atan2, degrees, exp, inf, log, sqrt

import numpy as np

from shopmon.errors import SettingError
from shopmon.signals.texture.flatten import flatten
from shopmon.signals.texture.lines import SpectralLine, spectral_lines

LEAST_PX = 64
LOOK_PX = 1200  # of the longer side: finer looks cost time, and fine marks are looked for in the middle
LINES = 6
CERTAIN = 0.95
POSSIBLE = 0.6
HALF_AT = (
    22.0  # ratio of which half of the lines are marks, and how steep it is: `tests/bench/bench_surface.py`
)
STEEPNESS = 9.0
FEW, FEW_POWER, FEW_AT_MOST = 10.7, 6, 25.0  # light and scratches look like a few marks
EDGE_OF_A_BIN = 0.35  # standard error of a line's place in bins, times the root of the ratio
LEAST_ERROR = 0.001
JPEG_BLOCK_PX = 8.0
SAME_DIRECTION_DEG = 4.0


@dataclass(frozen=True, kw_only=True)
class Marks:
    """One family of parallel marks.

    Attributes
    ----------
    period_px, period_u_px
        From mark to mark, square to them, and its standard uncertainty.
    direction_deg
        In which direction the period is measured (square to the marks), counter-clockwise from the right,
        within −90 … 90.
    direction_u_deg
        Its standard uncertainty.
    strength
        Share of the contrast, 0 … 1: amplitude squared over that of all lines that were found.
    ratio
        Power over that of its surroundings; `certainty` follows from it.
    certainty
        That such marks are there at all and no chance of noise.
    count
        How many of them the picture holds.
    """

    period_px: float
    period_u_px: float
    direction_deg: float
    direction_u_deg: float
    strength: float
    ratio: float
    certainty: float
    count: float


@dataclass(frozen=True, kw_only=True)
class Texture:
    """Answer of `read_texture`.

    Attributes
    ----------
    marks
        Strongest first; empty where nothing periodic can be told.
    seen
        Share of the picture that is neither overexposed nor black.
    why
        Why there are no marks, in one sentence; empty where there are some.
    """

    marks: tuple[Marks, ...]
    seen: float
    why: str = ""


def read_texture(picture: np.ndarray) -> Texture:
    """Measure the periodic marks of a picture.

    A large picture is looked at twice: as a whole, made smaller, and its middle as it is.

    Parameters
    ----------
    picture
        Grey values, shape ``(rows, columns)``, at least 64 × 64, finite.

    Raises
    ------
    SettingError
        It is no such array.
    """
    values = np.asarray(picture)
    if values.ndim != 2 or min(values.shape) < LEAST_PX:
        raise SettingError(
            f"A picture of {' × '.join(str(size) for size in values.shape)} pixels is too small.",
            f"Take one, or a part, of at least {LEAST_PX} × {LEAST_PX}.",
        )
    if values.dtype.kind not in "uif" or not np.isfinite(values).all():
        raise SettingError("The picture holds values that are no numbers.", "Save it again as PNG.")
    found: list[Marks] = []
    seen = 0.0
    for look, scale in _looks(values):
        flat = flatten(look)
        seen = max(seen, flat.seen)
        lines = spectral_lines(flat.marks) if flat.contrast > 0 else []
        for line in lines:
            marks = _as_marks(line, look.shape, scale)
            if marks.certainty >= POSSIBLE and not _block_edge(marks) and not _known(marks, found):
                found.append(marks)
    whole = sum(marks.strength for marks in found)
    found = [_with_share(marks, whole) for marks in sorted(found, key=lambda each: -each.strength)[:LINES]]
    return Texture(marks=tuple(found), seen=seen, why="" if found else _why(seen))


def _looks(values: np.ndarray) -> list[tuple[np.ndarray, float]]:
    """Return the picture made small enough, and its middle where that is something else."""
    step = -(-max(values.shape) // LOOK_PX)
    if step == 1:
        return [(values, 1.0)]
    rows, columns = (size // step * step for size in values.shape)
    small = (
        values[:rows, :columns]
        .reshape(rows // step, step, columns // step, step)
        .mean(axis=(1, 3), dtype=np.float32)
    )
    corner = [max(0, (size - LOOK_PX) // 2) for size in values.shape]
    middle = values[corner[0] : corner[0] + LOOK_PX, corner[1] : corner[1] + LOOK_PX]
    looks = [(small, float(step)), (middle, 1.0)]
    return [(look, scale) for look, scale in looks if min(look.shape) >= LEAST_PX]


def _as_marks(line: SpectralLine, shape: tuple[int, int], scale: float) -> Marks:
    error_bins = EDGE_OF_A_BIN / sqrt(max(line.evidence, 1.0))
    # across the marks a bin is one wave more in the picture, along them it turns the line
    relative = max(error_bins / line.bins, LEAST_ERROR)
    direction = degrees(atan2(-line.rows_per_px, line.columns_per_px))
    return Marks(
        period_px=scale / line.per_px,
        period_u_px=scale / line.per_px * relative,
        direction_deg=direction,
        direction_u_deg=degrees(max(error_bins / line.bins, LEAST_ERROR)),
        strength=line.amplitude**2,
        ratio=line.ratio,
        certainty=certainty(line.ratio, line.bins),
        count=line.bins,
    )


def certainty(ratio: float, count: float = inf) -> float:
    """Probability that a line is a mark and no chance, from drawn pictures with and without.

    Parameters
    ----------
    ratio
        Of the line.
    count
        How many marks the picture holds: light and scratches look like a few of them.
    """
    told = ratio / min(1 + (FEW / count) ** FEW_POWER, FEW_AT_MOST)
    return 1 / (1 + exp(-STEEPNESS * log(max(told, 1e-3) / HALF_AT)))


def _block_edge(marks: Marks) -> bool:
    """Tell the grid of compressed pictures: eight pixels and parts of it, along rows or columns."""
    upright = min(abs(marks.direction_deg), abs(abs(marks.direction_deg) - 90)) < 0.3
    parts = JPEG_BLOCK_PX / marks.period_px
    return upright and abs(parts - round(parts)) < 0.004 and round(parts) >= 1


def _known(marks: Marks, others: list[Marks]) -> bool:
    """Tell whether another look has found the same marks."""
    return any(
        abs(marks.period_px / other.period_px - 1) < 1.5 / min(marks.count, other.count)
        and _between(marks.direction_deg, other.direction_deg) < SAME_DIRECTION_DEG
        for other in others
    )


def _between(one_deg: float, other_deg: float) -> float:
    away = abs(one_deg - other_deg) % 180
    return min(away, 180 - away)


def _with_share(marks: Marks, whole: float) -> Marks:
    return Marks(**{**marks.__dict__, "strength": marks.strength / whole})


def _why(seen: float) -> str:
    if seen < 0.3:
        return "Most of the picture is overexposed, black or all one shade."
    return "Nothing in the picture repeats at even distances more than chance would."
