"""Structural resonances from a run-up: where the multiples of the rotation swell as they pass a frequency.

Each multiple of the rotation is a force that sweeps over frequency. One that swells at a *speed* is that
multiple's own doing; several that swell at the same *frequency*, each at another speed, pass over something
that rings there. Frequency and damping come from a fit of one mode to all of them together, each with a
strength and a slope of its own: how its force grows with speed nobody knows.
"""

from dataclasses import dataclass

import numpy as np

from shopmon.signals.spindle.run_up import MAP_HZ, RunUp

STEP = 0.01  # of the frequency, of one bin
SMOOTH_BINS = 1.5
LEAST_SWELL_DB, ALONE_SWELL_DB = 5.0, 10.0
SAME_SHARE = 0.035
REACH = 1.28  # of the frequency, of the fit
FEWEST_BINS = 8
LEAST_DAMPING, MOST_DAMPING = 0.002, 0.25
LOWEST_HZ = 30.0
TONE_REACH = 0.4  # of the rotation: so far the order spectra smear a tone of something else
AT_ONE_SPEED = 4  # multiples that swell at the same speed, whatever their frequency
MOST_DAMPING_KNOWN, MOST_ERROR = 0.2, 0.05


@dataclass(frozen=True)
class Resonance:
    """Something of the machine that rings, as the run-up excited it.

    Attributes
    ----------
    frequency_hz, damping_ratio
        Of the mode that fits best.
    frequency_error_hz
        Standard error.
    orders
        Which multiples of the rotation swelled there.
    swell_db
        By how much the one that shows it best stands over its surroundings.
    """

    frequency_hz: float
    damping_ratio: float
    frequency_error_hz: float
    orders: tuple[int, ...]
    swell_db: float


@dataclass(frozen=True)
class AvoidedSpeed:
    """Speeds at which a multiple of tooth passing meets a resonance.

    Attributes
    ----------
    low_rpm, high_rpm
        The stretch.
    flutes, multiple
        Of which tool, and which multiple of its tooth passing.
    frequency_hz
        Of the resonance.
    """

    low_rpm: float
    high_rpm: float
    flutes: int
    multiple: int
    frequency_hz: float


@dataclass(frozen=True, eq=False)
class _Curve:
    order: int
    hz: np.ndarray
    level_db: np.ndarray


def find_resonances(run: RunUp) -> tuple[Resonance, ...]:
    """Return what swells at one frequency whichever multiple passes it, by rising frequency."""
    curves = [curve for order in range(1, run.amplitudes.shape[1] + 1) if (curve := _curve(run, order))]
    groups: list[list[tuple[float, float, int]]] = []
    for peak in sorted(_at_own_speeds([peak for curve in curves for peak in _peaks(curve)])):
        if groups and peak[0] < groups[-1][-1][0] * (1 + SAME_SHARE):
            groups[-1].append(peak)
        else:
            groups.append([peak])
    kept = [group for group in groups if _counts(group)]
    places = [float(np.average([p[0] for p in group], weights=[p[1] for p in group])) for group in kept]
    found = [_fitted(curves, group, place, places) for group, place in zip(kept, places, strict=True)]
    return tuple(each for each in found if each is not None)


def speeds_to_avoid(
    resonances: tuple[Resonance, ...], flutes: int, low_rpm: float, high_rpm: float, multiples: int = 2
) -> tuple[AvoidedSpeed, ...]:
    """Return the speeds at which tooth passing, or its next multiples, would drive a resonance.

    The stretch is where the mode answers with more than 0.7 of its most: a share ζ of the frequency either
    side, 2 % at least.
    """
    found = []
    for mode in resonances:
        half = max(mode.damping_ratio, 0.02)
        for multiple in range(1, multiples + 1):
            rpm = 60 * mode.frequency_hz / (flutes * multiple)
            low, high = max(rpm * (1 - half), low_rpm), min(rpm * (1 + half), high_rpm)
            if low < high:
                found.append(AvoidedSpeed(low, high, flutes, multiple, mode.frequency_hz))
    return tuple(sorted(found, key=lambda each: each.low_rpm))


def _curve(run: RunUp, order: int) -> _Curve | None:
    """Return the level of one multiple over frequency, in bins of equal share, tones of others left out."""
    from scipy.ndimage import gaussian_filter1d

    hz, size = order * run.rotation_hz, run.amplitudes[:, order - 1]
    good = np.isfinite(size) & (size > 0) & (hz > LOWEST_HZ)
    for tone in run.steady_hz:
        good &= np.abs(hz - tone) > MAP_HZ + TONE_REACH * run.rotation_hz
    if not np.any(good):
        return None
    place = np.floor(np.log(hz[good]) / STEP).astype(int)
    place -= (first := place.min())
    count = np.bincount(place)
    if count.size < FEWEST_BINS:
        return None
    power = np.bincount(place, size[good] ** 2)
    there = np.flatnonzero(count)
    level = 10 * np.log10(power[there] / count[there])
    whole = np.interp(np.arange(count.size), there, level)
    middle = np.exp((np.arange(count.size) + first + 0.5) * STEP)
    return _Curve(order, middle, gaussian_filter1d(whole, SMOOTH_BINS, mode="nearest"))


def _peaks(curve: _Curve) -> list[tuple[float, float, int]]:
    """Return frequency, swell in dB and order of each peak that has both of its flanks in the run."""
    from scipy.signal import find_peaks

    places, facts = find_peaks(curve.level_db, prominence=LEAST_SWELL_DB, wlen=int(2 * np.log(1.6) / STEP))
    return [
        (float(curve.hz[place]), float(swell), curve.order)
        for place, swell in zip(places, facts["prominences"], strict=True)
    ]


def _at_own_speeds(peaks: list[tuple[float, float, int]]) -> list[tuple[float, float, int]]:
    """Leave out the multiples that all swell at one speed: there everything got louder, and nothing rings."""

    def alike(hz: float, order: int) -> int:
        """Return how many multiples of the rotation peak at the speed of this peak."""
        turn = hz / order
        return len({each for other, _, each in peaks if abs(other / each / turn - 1) < SAME_SHARE})

    return [peak for peak in peaks if alike(peak[0], peak[2]) < AT_ONE_SPEED]


def _counts(group: list[tuple[float, float, int]]) -> bool:
    return len({order for _, _, order in group}) > 1 or max(swell for _, swell, _ in group) >= ALONE_SWELL_DB


def _fitted(curves, group, place: float, places: list[float]) -> Resonance | None:
    """Fit one mode to all multiples that pass it, each with its own strength and slope."""
    from scipy.optimize import least_squares

    others = [other for other in places if other != place]
    low = max([place / REACH, *(np.sqrt(place * other) for other in others if other < place)])
    high = min([place * REACH, *(np.sqrt(place * other) for other in others if other > place)])
    orders = {order for _, _, order in group}
    parts = []
    for curve in curves:
        inside = (curve.hz > low) & (curve.hz < high)
        if curve.order in orders and inside.sum() >= FEWEST_BINS:
            parts.append((curve.hz[inside], curve.level_db[inside]))
    if not parts:
        return None
    designs = [np.stack([np.ones(hz.size), np.log(hz / place)], axis=1) for hz, _ in parts]

    def residuals(values) -> np.ndarray:
        """Return what a resonance with these values leaves of the levels, dB."""
        natural, damping = place * np.exp(values[0]), np.exp(values[1])
        rest = []
        for (hz, level), design in zip(parts, designs, strict=True):
            ratio = hz / natural
            left = level + 10 * np.log10((1 - ratio**2) ** 2 + (2 * damping * ratio) ** 2)
            rest.append(left - design @ np.linalg.lstsq(design, left, rcond=None)[0])
        return np.concatenate(rest)

    bounds = ([-0.08, np.log(LEAST_DAMPING)], [0.08, np.log(MOST_DAMPING)])
    fit = least_squares(
        residuals, [0.0, np.log(0.03)], bounds=bounds, loss="soft_l1", f_scale=2.0, x_scale=[0.01, 0.3]
    )
    natural, damping = place * float(np.exp(fit.x[0])), float(np.exp(fit.x[1]))
    spread = float(np.mean(residuals(fit.x) ** 2))
    covariance = (
        np.linalg.pinv(fit.jac.T @ fit.jac) * spread * 2 * SMOOTH_BINS
    )  # neighbours are smoothed together
    error = natural * float(np.sqrt(covariance[0, 0]))
    if damping > MOST_DAMPING_KNOWN or error > MOST_ERROR * natural:
        return None
    best = max(swell for _, swell, _ in group)
    return Resonance(natural, damping, error, tuple(sorted(orders)), best)
