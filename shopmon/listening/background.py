"""What the spindle and the shop sound like when no tooth is in metal."""

from functools import lru_cache
from zlib import crc32

import numpy as np

from shopmon.listening.intake.front import BANDS, View, Window
from shopmon.listening.preferences import Preferences
from shopmon.listening.rotation.comb_view import CombView
from shopmon.listening.state import Memory
from shopmon.signals.levels import power_db, running_sum

BATCH_HOPS = 6
SLOWEST = 10
TONE_DB = 12.0
MOST_TONES = 24
MOST_SLIP = 0.03


class Background(Memory):
    """Learned in batches, each taken over only when the next was quiet too: a faint first contact stays out.

    Attributes
    ----------
    spectrum_db
        Mean level per bin, empty while unknown.
    bands_db, spread_db
        Mean and spread of the band levels.
    batches
        Number of batches learned.
    origin
        What was going on: ``"idle"`` or ``"air-cut"``.
    """

    kept = ("spectrum_db", "doubted_db", "bands_db", "spread_db", "batches", "origin", "since_sample",
            "sum_spectrum", "sum_bands", "sum_squares", "hops", "full_hops", "waiting",
            "rotation_hz")  # fmt: skip

    def __init__(self):
        self.forget()

    def restore(self, data: dict) -> None:
        """Take up a memory; one of before a background could be doubted has none of it."""
        super().restore({"doubted_db": np.zeros(0, dtype=np.float32), **data})

    def forget(self) -> None:
        """Know nothing."""
        self.spectrum_db = np.zeros(0, dtype=np.float32)
        self.doubted_db = np.zeros(0, dtype=np.float32)
        self.bands_db = np.zeros(BANDS)
        self.spread_db = np.zeros(BANDS)
        self.batches = 0
        self.origin = "idle"
        self.since_sample = 0
        self.rotation_hz: float | None = None
        self._around = self._around_of = None
        self._floor = self._floor_of = None
        self._height = self._height_of = None
        self._near = self._near_of = None
        self._power = self._power_of = None
        self._sums = self._sums_of = None
        self.drop()

    def drop(self) -> None:
        """Give up what is not yet taken over."""
        self._new_batch()
        self.waiting: list | None = None

    def doubt(self) -> None:
        """The spindle has just been found in sound that was never quiet: all along it may have been a cut.

        Then no line can be told from one that was there before, until something rises or it is learned anew.
        """
        self.doubted_db, self.spectrum_db = self.spectrum_db, np.zeros(0, dtype=np.float32)
        self.drop()

    def believe(self) -> None:
        """Sound has risen: what was doubted was there before it."""
        if not self.has_spectrum:
            self.spectrum_db = self.doubted_db
        self.doubted_db = np.zeros(0, dtype=np.float32)

    def _new_batch(self) -> None:
        self.sum_spectrum = np.zeros(0, dtype=np.float32)
        self.sum_bands = np.zeros(BANDS)
        self.sum_squares = np.zeros(BANDS)
        self.hops = 0
        self.full_hops = 0

    @property
    def known(self) -> bool:
        """Band levels are known, so that a rise can be seen."""
        return self.batches > 0

    @property
    def has_spectrum(self) -> bool:
        """A spectrum is known, so that a line can be told from one that was there before."""
        return self.spectrum_db.size > 0

    @property
    def around_db(self) -> np.ndarray:
        """Highest level within three bins: a neighbour's tone may wander a little."""
        if self._around_of is not self.spectrum_db:
            wide = self.spectrum_db.copy()
            for shift in (1, 2, 3):
                np.maximum(wide[shift:], self.spectrum_db[:-shift], out=wide[shift:])
                np.maximum(wide[:-shift], self.spectrum_db[shift:], out=wide[:-shift])
            self._around, self._around_of = wide, self.spectrum_db
        return self._around

    @property
    def _near_db(self) -> np.ndarray:
        """Highest level within one bin; at either end the level itself."""
        if self._near_of is not self.spectrum_db:
            level = self.spectrum_db
            self._near, self._near_of = level.copy(), level
            np.maximum(np.maximum(level[:-2], level[2:]), level[1:-1], out=self._near[1:-1])
        return self._near

    @property
    def power(self) -> np.ndarray:
        """Sine power per bin."""
        if self._power_of is not self.spectrum_db:
            self._power = (10.0 ** (self.spectrum_db / 10)).astype(np.float32)
            self._power_of = self.spectrum_db
        return self._power

    @property
    def power_sums(self) -> np.ndarray:
        """Sine power of all bins before each, shape ``(bins + 1,)``."""
        if self._sums_of is not self.power:
            self._sums, self._sums_of = running_sum(self.power), self.power
        return self._sums

    def move(self, spectrum_db: np.ndarray, bands_db: np.ndarray) -> None:
        """Levels are shown on another channel's scale from now on: add its distance, bin by bin."""
        self.drop()
        self.bands_db = self.bands_db + bands_db
        if self.spectrum_db.size == spectrum_db.size:
            self.spectrum_db = (self.spectrum_db + spectrum_db).astype(np.float32)

    def fit_to(self, window: Window) -> None:
        """Carry the spectrum over to the grid of another window, on which the next spectra will be.

        Lines keep their levels; the noise between them stays as it was, or a little above, which errs on the
        side of calling less new.
        """
        size, wanted = self.spectrum_db.size, window.bins
        if not size or size == wanted:
            return
        if wanted > size:
            places = np.arange(wanted) * ((size - 1) / (wanted - 1))
            self.spectrum_db = np.interp(places, np.arange(size), self.spectrum_db).astype(np.float32)
        else:
            edges = np.arange(wanted) * ((size - 1) / (wanted - 1)) - 0.5 * size / wanted
            firsts = np.maximum(np.rint(edges), 0).astype(np.intp)
            self.spectrum_db = np.maximum.reduceat(self.spectrum_db, firsts)

    def _floor_db(self, window: Window) -> np.ndarray:
        """Local floor of the spectrum, which stays the same through a whole cut."""
        if self._floor_of is not self.spectrum_db:
            self._floor, self._floor_of = window.floor(self.spectrum_db), self.spectrum_db
        return self._floor

    def height_db(self, window: Window) -> np.ndarray:
        """Height of `around_db` over the background's own floor: what a change of gain leaves as it was."""
        if self._height_of is not self.spectrum_db:
            self._height = np.maximum(self.around_db - self._floor_db(window), 0.0)
            self._height_of = self.spectrum_db
        return self._height

    def settle(self) -> None:
        """Sound has risen: take over the waiting batch only where nothing is known otherwise."""
        if self.waiting is not None and not (self.known and self.has_spectrum):
            self._take_over(self.waiting)
        self.drop()

    def learn(self, view: View, smooth_bands_db: np.ndarray, origin: str) -> None:
        """Take in a hop during which no tooth was in metal."""
        if not self.batches and self.waiting is None and not self.hops:
            self.since_sample = view.sample
        self.origin = origin
        self.sum_bands = self.sum_bands + smooth_bands_db.mean(axis=0)
        self.sum_squares = self.sum_squares + (smooth_bands_db**2).mean(axis=0)
        self.hops += 1
        if view.full:
            size = view.spectrum_db.size
            if self.sum_spectrum.size != size:
                self.sum_spectrum = np.zeros(size, dtype=np.float32)
                self.full_hops = 0
            self.sum_spectrum = self.sum_spectrum + view.spectrum_db
            self.full_hops += 1
        if self.hops >= BATCH_HOPS:
            if self.waiting is not None:
                self._take_over(self.waiting)
            self.waiting = self._batch()
            self._new_batch()

    def _batch(self) -> list:
        bands = self.sum_bands / self.hops
        variance = np.maximum(self.sum_squares / self.hops - bands**2, 0.0)
        spectrum = self.sum_spectrum / np.float32(max(1, self.full_hops)) if self.full_hops >= 3 else None
        return [bands, variance, spectrum]

    def _take_over(self, batch: list) -> None:
        bands, variance, spectrum = batch
        self.batches += 1
        share = 1.0 / min(self.batches, SLOWEST)
        moved = bands - self.bands_db
        self.bands_db = self.bands_db + share * moved
        # the wandering between batches is spread too, once there is a mean to wander about
        drift = (moved * (self.batches > 1)) ** 2 * (1 - share)
        self.spread_db = np.sqrt((1 - share) * self.spread_db**2 + share * (variance + drift))
        if spectrum is None:
            return
        if self.spectrum_db.size != spectrum.size:
            self.spectrum_db = spectrum.copy()
        else:
            self.spectrum_db = self.spectrum_db + np.float32(share) * (spectrum - self.spectrum_db)

    def relearn(self, bands_db: np.ndarray, variance: np.ndarray) -> None:
        """What rose was no cut: the shop sounds like this now, and the spectrum is to follow soon."""
        self.drop()
        self.batches = 1
        self.bands_db = bands_db
        self.spread_db = np.sqrt(variance)

    def replace(self, bands_db: np.ndarray, variance: np.ndarray, power: np.ndarray) -> None:
        """What was learned is over; what is heard now is the background."""
        self.relearn(bands_db, variance)
        self.use(power)

    def use(self, power: np.ndarray) -> None:
        """Take a spectrum of sine power as the background's."""
        self.spectrum_db = power_db(power).astype(np.float32)

    def slip(self, rotation_hz: float) -> float:
        """Where the comb's lines were when the background was learned, as a share of where they are now."""
        if self.rotation_hz is None or abs(self.rotation_hz / rotation_hz - 1) > MOST_SLIP:
            return 1.0
        return self.rotation_hz / rotation_hz

    def comb_rise_db(self, comb: CombView, window: Window) -> float | None:
        """How much the comb's lines rose over the background, beyond what the floor between them rose.

        Lines that do not stand out of the floor count as not risen. None where the background is not known.
        """
        size = self.spectrum_db.size
        if size != window.bins:
            return None
        bins = comb.bins
        before = self._near_db[bins]
        floor_rise = np.maximum(comb.floor_db - self._floor_db(window)[bins], 0.0)
        worth = np.minimum(np.maximum(comb.lines_db - before - floor_rise, -6.0), 12.0)
        weights = _weights(worth.size)
        return float((worth * comb.standing) @ weights / np.add.reduce(weights))

    def entries(self, window: Window) -> list[dict]:
        """Return the tones of the background with their origin, strongest first."""
        if self.spectrum_db.size != window.bins:
            return []
        level = self.spectrum_db
        height = level - window.floor(level)
        inner = (level[1:-1] > level[:-2]) & (level[1:-1] >= level[2:]) & (height[1:-1] > TONE_DB)
        peaks = np.flatnonzero(inner) + 1
        peaks = peaks[np.argsort(-level[peaks], kind="stable")][:MOST_TONES]
        places, levels = window.read_lines(level.astype(np.float64), peaks)
        return [
            {
                "kind": "tone",
                "frequency_hz": round(float(place * window.bin_hz), 2),
                "level_db": round(float(height_db), 2),
                "origin": self.origin,
                "since_sample": self.since_sample,
            }
            for place, height_db in zip(places, levels, strict=True)
        ]


@lru_cache(maxsize=64)
def _weights(orders: int) -> np.ndarray:
    return 1.0 / np.sqrt(np.arange(1, orders + 1))


def background_entries(learned: list[dict], preferences: Preferences, sample_rate_hz: float) -> list[dict]:
    """Return the whole list: what was learned and what a person said, each with an id to name it by.

    Parameters
    ----------
    learned
        From `Background.entries`.
    preferences
        Rejected tones join the list, tones that are to be heeded are marked ``heeded``.
    sample_rate_hz
        Of the stream; ``known_since_s`` counts from its beginning.
    """
    said = [
        {"id": tone_id(tone.frequency_hz, tone.order, tone.family, tone.only_with), "kind": "tone",
         "frequency_hz": tone.frequency_hz, "order": tone.order, "family": tone.family,
         "only_with": tone.only_with, "level_db": None, "origin": "rejected by the person"}
        for tone in preferences.rejected
    ]  # fmt: skip
    for entry in learned:
        entry["id"] = tone_id(entry["frequency_hz"], None)
        entry["heeded"] = bool(preferences.is_heeded(np.array(entry["frequency_hz"])))
        entry["known_since_s"] = round(entry["since_sample"] / sample_rate_hz, 1)
    return [*said, *learned]


def tone_id(
    frequency_hz: float | None, order: float | None, family: bool = False, only_with: str = ""
) -> str:
    """Name an entry of the background."""
    name = f"{frequency_hz:.1f}-hz" if order is None else f"{order:.3f}-order"
    if family:
        name += "-family"
    return f"{name}-with-{crc32(only_with.encode()):08x}" if only_with else name
