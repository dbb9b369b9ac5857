"""Lines of a picture's two-dimensional spectrum: where they are to a part of a bin, how far they stand out.

A line counts against the loudest of three surroundings: the ring of bins about it, the ray from the origin
through it, and the circle about the origin. The second is what tells marks at even distances from scratches
in one direction at random ones, whose spectrum is a ridge along that ray; the third tells them from spots of
light, which are as strong in all directions.
"""

from dataclasses import dataclass, replace
from math import hypot, log, pi

import numpy as np
import scipy.fft

LEAST_CYCLES = 4.3  # across the picture
LEAST_PERIOD_PX = 3.0
BLOCK = 12  # bins: of the rough floor by which candidates are chosen
CANDIDATES = 40
LOBE = 2.6  # bins: half the width of a line under the Hann window
RING = (4, 11)  # bins from the line
RAY_BINS = 22
PARTS = 6
LEAST_BINS = 4
MULTIPLES, SURE_RATIO, NEAR_BINS = 6, 40.0, 0.3
CIRCLE_FROM_DEG, CIRCLE_QUANTILE = 30, 0.8
MEDIAN_OF_POWER = log(2)  # median over mean of the power of noise


@dataclass(frozen=True, kw_only=True)
class SpectralLine:
    """One line.

    Attributes
    ----------
    columns_per_px, rows_per_px
        Spatial frequency to the right and downwards, cycles per pixel; the first is not negative.
    amplitude
        Of the wave, in the units of the marks.
    ratio
        Power over the louder of its surroundings' mean powers.
    bins
        Distance from the origin in bins of the spectrum: how many waves the picture holds.
    evidence
        For its place: the ratio, and that of its multiples times the square of the multiple.
    """

    columns_per_px: float
    rows_per_px: float
    amplitude: float
    ratio: float
    bins: float
    evidence: float = 0.0

    @property
    def per_px(self) -> float:
        """Waves per pixel, square to the marks."""
        return hypot(self.columns_per_px, self.rows_per_px)


def spectral_lines(marks: np.ndarray, most: int = 12) -> list[SpectralLine]:
    """Find the lines that stand out most, strongest ratio first.

    Parameters
    ----------
    marks
        Of `shopmon.signals.texture.flatten.flatten`, shape ``(rows, columns)``.
    most
        How many.
    """
    windowed = _windowed(marks)
    power = _power(windowed)
    found: list[SpectralLine] = []
    for place in _candidates(power, marks.shape):
        line = _refined(windowed, power, place)
        if line is not None and not any(_same(line, each, marks.shape) for each in found):
            found.append(line)
    found = sorted(found, key=lambda each: -each.ratio)[:most]
    return [_sharpened(line, found, marks.shape) for line in found]


def _sharpened(line: SpectralLine, others: list[SpectralLine], shape: tuple[int, int]) -> SpectralLine:
    """Let the multiples of a line help to say where it is: they tell it that many times more finely."""
    places = [(line.columns_per_px, line.rows_per_px, 1, line.ratio)]
    for other in others:
        times = round(other.per_px / line.per_px)
        if 2 <= times <= MULTIPLES and other.ratio > SURE_RATIO:
            columns, rows = (part / times for part in (other.columns_per_px, other.rows_per_px))
            if abs(columns - line.columns_per_px) * shape[1] < NEAR_BINS and (
                abs(rows - line.rows_per_px) * shape[0] < NEAR_BINS
            ):
                places.append((columns, rows, times, other.ratio))
    weights = np.array([times**2 * ratio for _, _, times, ratio in places])
    columns, rows = (float(np.average([each[axis] for each in places], weights=weights)) for axis in (0, 1))
    return replace(line, columns_per_px=columns, rows_per_px=rows, evidence=float(weights.sum()))


def _windowed(marks: np.ndarray) -> np.ndarray:
    window = [np.hanning(size + 2)[1:-1].astype(np.float32) for size in marks.shape]
    windowed = marks * window[0][:, None] * window[1][None, :]
    return windowed - windowed.mean()


def _power(windowed: np.ndarray) -> np.ndarray:
    """Half of the spectrum's power, rows shifted so that frequency 0 is in the middle."""
    return scipy.fft.fftshift(np.abs(scipy.fft.rfft2(windowed)) ** 2, axes=0)


def _candidates(power: np.ndarray, shape: tuple[int, int]) -> list[tuple[int, int]]:
    """List bins that stand out of a rough floor and are the highest about them."""
    from scipy.ndimage import maximum_filter, median_filter

    middle = shape[0] // 2
    blocks = [-(-size // BLOCK) for size in power.shape]
    padded = np.pad(
        power, [(0, n * BLOCK - size) for n, size in zip(blocks, power.shape, strict=True)], "edge"
    )
    floor = np.median(
        padded.reshape(blocks[0], BLOCK, blocks[1], BLOCK).swapaxes(1, 2).reshape(*blocks, -1), 2
    )
    floor = median_filter(floor, 3, mode="nearest").repeat(BLOCK, 0).repeat(BLOCK, 1)
    floor = floor[: power.shape[0], : power.shape[1]]
    down = (np.arange(power.shape[0]) - middle)[:, None]
    right = np.arange(power.shape[1])[None, :]
    cycles = np.hypot(down, right)
    reach = np.hypot(down / shape[0], right / shape[1])
    wanted = (cycles >= LEAST_CYCLES - 1) & (reach <= 1 / LEAST_PERIOD_PX) & ~((right == 0) & (down < 0))
    wanted &= power >= maximum_filter(power, 3, mode="nearest")
    score = np.where(wanted, power / np.maximum(floor, 1e-30), 0)
    top = np.argpartition(score, -CANDIDATES, axis=None)[-CANDIDATES:]
    top = top[np.argsort(-score.ravel()[top])]
    return [tuple(int(axis) for axis in np.unravel_index(each, score.shape)) for each in top]


def _refined(windowed: np.ndarray, power: np.ndarray, place: tuple[int, int]) -> SpectralLine | None:
    """Find the top between the bins and weigh it against its surroundings."""
    rows, columns = windowed.shape
    at = np.array([(place[0] - rows // 2) / rows, place[1] / columns])
    step = np.array([0.5 / rows, 0.5 / columns])
    height = 0.0
    for _ in range(4):
        around = _transform(windowed, at, step)
        height = float(around[1, 1])
        shift = _top(around)
        at = at + shift * step
        step = step / 2
    if abs(at[0] * rows - place[0] + rows // 2) > 1.5 or abs(at[1] * columns - place[1]) > 1.5:
        return None
    bins = hypot(at[0] * rows, at[1] * columns)
    if bins < LEAST_CYCLES or hypot(*at) > 1 / LEAST_PERIOD_PX:
        return None
    if at[1] < 0:
        at = -at
    surroundings = (_ring_floor, _ray_floor, _circle_floor)
    floor = max(1e-30, *(of(power, at, windowed.shape) for of in surroundings))
    return SpectralLine(
        columns_per_px=float(at[1]),
        rows_per_px=float(at[0]),
        amplitude=float(8 * np.sqrt(height) / (rows * columns)),
        ratio=height / floor,
        bins=bins,
    )


def _transform(windowed: np.ndarray, at: np.ndarray, step: np.ndarray) -> np.ndarray:
    """Power at nine frequencies about one, shape ``(3, 3)``."""
    rows, columns = windowed.shape
    down, right = (at[axis] + step[axis] * np.array([-1, 0, 1]) for axis in (0, 1))
    left = np.exp(-2j * pi * np.outer(down, np.arange(rows))).astype(np.complex64)
    over = np.exp(-2j * pi * np.outer(np.arange(columns), right)).astype(np.complex64)
    return np.abs((left @ windowed) @ over) ** 2


def _top(around: np.ndarray) -> np.ndarray:
    """Where the parabolas through the logarithms have their tops, in steps, within one step."""
    logs = np.log(np.maximum(around, 1e-30))
    shift = []
    for below, here, above in (logs[:, 1], logs[1, :]):
        bend = below - 2 * here + above
        shift.append(float(np.clip((below - above) / (2 * bend), -1, 1)) if bend < 0 else 0.0)
    return np.array(shift)


def _ring_floor(power: np.ndarray, at: np.ndarray, shape: tuple[int, int]) -> float:
    """Mean power of the noise in the ring about a line, from the median."""
    reach = RING[1]
    down, right = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    away = np.hypot(down, right)
    inside = (away >= RING[0]) & (away <= reach)
    return _median(power, at[0] * shape[0] + down[inside], at[1] * shape[1] + right[inside], shape)


def _ray_floor(power: np.ndarray, at: np.ndarray, shape: tuple[int, int]) -> float:
    """Mean power of the noise along the ray through a line.

    Sharp marks have lines at all multiples of their first one, of which this may be any; so the ray is looked
    at between the multiples of each of its whole parts, and the lowest answer counts.
    """
    bins = np.array([at[0] * shape[0], at[1] * shape[1]])
    distance = float(np.hypot(*bins))
    floors = [
        _between_multiples(power, bins / distance, distance, distance / part, shape)
        for part in range(1, PARTS + 1)
        if part == 1 or distance / part >= LEAST_CYCLES
    ]
    return min((floor for floor in floors if floor > 0), default=0.0)


def _between_multiples(
    power: np.ndarray, unit: np.ndarray, distance: float, step: float, shape: tuple[int, int]
) -> float:
    """Mean power between the multiples of a step, the louder of nearer and further than the line.

    Each side by itself, because the spectrum of scratches may fall steeply.
    """
    reach = max(RAY_BINS, 2.5 * step)
    along = np.arange(max(2.0, distance - reach), distance + reach, 0.5)
    along = along[np.abs(along - np.rint(along / step) * step) >= min(LOBE + 1, 0.4 * step)]
    sides = (along[along < distance], along[along > distance])
    return max(_median(power, side * unit[0], side * unit[1], shape) for side in sides)


def _circle_floor(power: np.ndarray, at: np.ndarray, shape: tuple[int, int]) -> float:
    """Mean power at the line's distance from the origin in other directions, from a high quantile."""
    down, right = at[0] * shape[0], at[1] * shape[1]
    distance = hypot(down, right)
    turns = np.radians(np.arange(CIRCLE_FROM_DEG, 180 - CIRCLE_FROM_DEG, 1 / max(distance / 60, 0.2)))
    turned = np.arctan2(down, right) + turns
    picked = _picked(power, distance * np.sin(turned), distance * np.cos(turned), shape)
    return (
        float(np.quantile(picked, CIRCLE_QUANTILE)) / -log(1 - CIRCLE_QUANTILE) if picked.size >= 8 else 0.0
    )


def _median(power: np.ndarray, down: np.ndarray, right: np.ndarray, shape: tuple[int, int]) -> float:
    picked = _picked(power, down, right, shape)
    return float(np.median(picked)) / MEDIAN_OF_POWER if picked.size >= LEAST_BINS else 0.0


def _picked(power: np.ndarray, down: np.ndarray, right: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """Power at bins that may lie in the half that is not stored; those outside and at the origin left out."""
    down, right = np.rint(down).astype(int), np.rint(right).astype(int)
    behind = right < 0
    down, right = np.where(behind, -down, down), np.abs(right)
    row = down + shape[0] // 2
    inside = (row >= 0) & (row < power.shape[0]) & (right < power.shape[1]) & (np.hypot(down, right) > 1.5)
    return power[row[inside], right[inside]]


def _same(one: SpectralLine, other: SpectralLine, shape: tuple[int, int]) -> bool:
    right = (one.columns_per_px - other.columns_per_px) * shape[1]
    down = (one.rows_per_px - other.rows_per_px) * shape[0]
    return hypot(right, down) < LOBE
