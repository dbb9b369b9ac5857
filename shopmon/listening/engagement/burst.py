"""What a stretch of sound, however short, says for a tooth in metal, compared with the sound before it.

A cut adds power on the multiples of the rotation; coolant, air, voices, bangs and other machines add it
anywhere. A cut that rings adds it off the comb, but as a family with relatives at tooth-passing distance.
"""

from dataclasses import dataclass

import numpy as np

from shopmon.listening.background import Background
from shopmon.listening.intake.front import Window
from shopmon.signals.levels import power_db, running_sum

LOWEST_HZ, HIGHEST_HZ = 80.0, 5000.0
ORDERS = 60
SETTLING_TURNS = 4.0
NEAR = 0.6
WITHIN = 1.5
RISE_RANGE_DB = (-6.0, 12.0)
PER_SHARE = 4.0
PER_FAMILY = 0.5
KIN = (-3, -2, -1, 1, 2, 3)
BESIDE = np.array([-1, 1])
KIN_CAP_DB = 15.0
KIN_RISE_DB = 3.0
BETWEEN = np.array([-0.5, -0.38, -0.25, 0.25, 0.38, 0.5])


@dataclass(frozen=True, kw_only=True)
class Burst:
    """Evidence that a stretch of sound was cut.

    Attributes
    ----------
    rise_db
        Mean rise of the comb's lines over the background beyond what rose between them.
    share
        Of the added power, the part on the comb; 0 is what noise would have there, 1 is all.
    family_db
        How far the relatives of the strongest added line stand out.
    """

    rise_db: float
    share: float
    family_db: float

    @property
    def score(self) -> float:
        """All evidence together; below 2.5 in sound without a cut."""
        return self.rise_db + PER_SHARE * max(self.share, 0.0) + PER_FAMILY * self.family_db


def long_enough_s(rotation_hz: float, flutes: int | None, least_s: float) -> float:
    """Return how much sound is needed to tell a comb line from what is between them."""
    return max(least_s, SETTLING_TURNS / (rotation_hz * (flutes or 1)))


class _Comparison:
    """Two spectra on one grid, of stretches of different length, read line by line."""

    def __init__(
        self, power: np.ndarray, duration_s: float, background: Background, before_s: float, bin_hz: float
    ):
        self.bin_hz = bin_hz
        self.duration_s = duration_s
        self.power, self.before = power, background.power
        self.half = max(1, round(NEAR / (duration_s * bin_hz)))
        self._highest = _highest_near(power, self.half)
        self._before_highest = _highest_near(self.before, self.half)
        # sums over bins become true power, the same for lines and noise whatever the window
        self._sums = running_sum(power) * duration_s
        self._before_sums = background.power_sums * before_s

    def _near(self, highest: np.ndarray, places_hz: np.ndarray) -> np.ndarray:
        centre = np.rint(places_hz / self.bin_hz).astype(np.intp) + self.half
        return power_db(highest[np.minimum(np.maximum(centre, 0), highest.size - 1)])

    def levels_db(self, places_hz: np.ndarray) -> np.ndarray:
        """Return the level at each place in the stretch that rose."""
        return self._near(self._highest, places_hz)

    def before_db(self, places_hz: np.ndarray) -> np.ndarray:
        """Return the level at each place in the sound before it."""
        return self._near(self._before_highest, places_hz)

    def added(self, low_hz: np.ndarray, high_hz: np.ndarray, shift_hz: np.ndarray | float = 0.0) -> float:
        """Power added within bands; before, each band lay `shift_hz` lower."""
        size = self.power.size

        def total(sums: np.ndarray, low: np.ndarray, high: np.ndarray) -> float:
            """Return what lies in bands between two frequencies each."""
            first, last = (np.rint(hz / self.bin_hz).astype(np.intp) for hz in (low, high))
            first, last = (np.minimum(np.maximum(end, 0), size) for end in (first, last))
            return float(np.add.reduce(sums[last] - sums[first]))

        before = total(self._before_sums, low_hz - shift_hz, high_hz - shift_hz)
        return total(self._sums, low_hz, high_hz) - before


def _highest_near(power: np.ndarray, reach: int) -> np.ndarray:
    """Highest within so many bins of each, and of so many beyond either end, shape ``(bins + 2 reach,)``."""
    around = np.empty(power.size + 2 * reach, dtype=power.dtype)
    around[:reach], around[reach:-reach], around[-reach:] = power[0], power, power[-1]
    highest = around.copy()
    for step in range(1, reach + 1):
        np.maximum(highest[step:], around[:-step], out=highest[step:])
        np.maximum(highest[:-step], around[step:], out=highest[:-step])
    return highest


def weigh_burst(
    power: np.ndarray,
    duration_s: float,
    window: Window,
    background: Background,
    rotation_hz: float,
    flutes: int | None,
) -> Burst | None:
    """Weigh a stretch of sound against the background; None where it is too short or nothing is known.

    Parameters
    ----------
    power
        Sine power from `Front.stretch`.
    duration_s
        Length of the stretch.
    window
        Grid of both spectra.
    background
        What was there before.
    rotation_hz, flutes
        Of the spindle; flutes may be unknown.
    """
    if background.spectrum_db.size != power.size:
        return None
    pair = _Comparison(power, duration_s, background, window.duration_s, window.bin_hz)
    step = 1 if rotation_hz * duration_s >= SETTLING_TURNS else (flutes or 1)
    if rotation_hz * step * duration_s < SETTLING_TURNS:
        return None
    top = min(HIGHEST_HZ, 0.45 * window.bin_hz * window.size)
    orders = np.arange(step, min(int(top / rotation_hz), ORDERS * step) + 1, step)
    orders = orders[orders * rotation_hz > LOWEST_HZ]
    if not orders.size:
        return None
    slipped = background.slip(rotation_hz)
    return Burst(
        rise_db=_rise_db(pair, orders, rotation_hz, step, slipped),
        share=_share(pair, orders, rotation_hz, step, slipped, top),
        family_db=_family_db(pair, rotation_hz, flutes or 1, top),
    )


def _rise_db(pair: _Comparison, orders: np.ndarray, rotation_hz: float, step: int, slipped: float) -> float:
    places = orders * rotation_hz
    between = places + 0.5 * step * rotation_hz * np.array([[-1.0], [1.0]])
    on = pair.levels_db(places) - pair.before_db(places * slipped)
    off = np.add.reduce(pair.levels_db(between) - pair.before_db(between), axis=0) / len(between)
    weights = 1.0 / np.sqrt(orders)
    least_db, most_db = RISE_RANGE_DB
    rise_db = np.minimum(np.maximum(on - np.maximum(off, 0.0), least_db), most_db)
    return float(np.add.reduce(weights * rise_db) / np.add.reduce(weights))


def _share(
    pair: _Comparison, orders: np.ndarray, rotation_hz: float, step: int, slipped: float, top_hz: float
) -> float:
    """Share of the added power on the comb, less what falls there by chance."""
    places, reach = orders * rotation_hz, WITHIN / pair.duration_s
    total = pair.added(np.array([LOWEST_HZ]), np.array([top_hz]))
    if total <= 0:
        return 0.0
    on = pair.added(places - reach, places + reach, places * (1 - slipped))
    covered = min(2 * reach / (step * rotation_hz), 0.9)
    return (min(max(on / total, 0.0), 1.0) - covered) / (1 - covered)


def _family_db(pair: _Comparison, rotation_hz: float, flutes: int, top_hz: float) -> float:
    """How far relatives of the strongest added line stand out and have risen.

    Looked for at tooth-passing distance, or as the pair of neighbours at rotation distance that runout makes:
    of many flutes at high speed none at tooth-passing distance is left within the band.
    """
    if rotation_hz * flutes * pair.duration_s < SETTLING_TURNS + 1:
        return 0.0
    low, high = round(100.0 / pair.bin_hz), round(top_hz / pair.bin_hz)
    strongest = (low + int(np.argmax(pair.power[low:high] - pair.before[low:high]))) * pair.bin_hz
    family_db = _standing_db(pair, strongest, rotation_hz * flutes * np.array(KIN), top_hz)
    best = float(family_db.mean()) if family_db.size else 0.0
    if rotation_hz * pair.duration_s < SETTLING_TURNS + 1:
        return best
    beside_db = _standing_db(pair, strongest, rotation_hz * BESIDE, top_hz)
    return max(best, float(beside_db.min())) if beside_db.size == BESIDE.size else best


def _standing_db(pair: _Comparison, strongest_hz: float, steps_hz: np.ndarray, top_hz: float) -> np.ndarray:
    """How far lines at some steps from another stand out and have risen, those within the band."""
    spacing_hz = np.abs(steps_hz).min()
    kin = np.abs(strongest_hz + steps_hz)
    kin = kin[(kin > 60.0) & (kin < 1.2 * top_hz)]
    level = pair.levels_db(kin)
    around = np.sort(pair.levels_db(np.abs(kin[:, None] + spacing_hz * BETWEEN)), axis=1)
    between = 0.5 * (around[:, BETWEEN.size // 2 - 1] + around[:, BETWEEN.size // 2])
    return np.minimum(np.minimum(level - between, level - pair.before_db(kin) - KIN_RISE_DB), KIN_CAP_DB)
