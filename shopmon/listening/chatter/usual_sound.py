"""What the cuts of a job sound like while nothing chatters: chatter is louder than that when it begins.

A mode that the chips shake rings in every bite, more in one moment and less in the next: its power has the
distribution of noise, whose standard deviation is its mean. What has swayed like that for seconds with a
tooth in metal, and was no chatter, is none when it is as loud again. What keeps its level all the time may
be chatter that nobody was sure of yet, and is none the less suspicious for having been there.
"""

import math

import numpy as np

from shopmon.listening.scene import Scene
from shopmon.listening.state import Memory

BATCH_HOPS, LONGEST_HOPS = 5, 400
AROUND_BINS = 3
TAKEN = np.arange(-2, 3)[:, None]  # bins that a line of the comb takes
# so many windows of sound say nothing yet, and so many as much as any; standard deviation over mean likewise
KNOWN_WINDOWS = (0.6, 3.8)
SWAYING = (0.35, 0.65)
# growth over the mean: as loud as ever, louder than noise comes to by chance, and certainly new
AS_EVER_DB, LOUDER_DB, NEW_DB, MUCH_NEWER_DB = 7.0, 12.0, 13.0, 18.0
FAINTEST = 1e-18


class UsualSound(Memory):
    """What sounds between the lines of the comb, wherever these are at the speed of the moment.

    It is learned in batches, each taken over only when nothing was suspected in the next.

    Attributes
    ----------
    sums
        Of 1, of power and of its square over the hops in which a bin was free of the comb, shape
        ``(3, bins)``; no bins while nothing is known.
    """

    kept = ("sums", "gathered", "gathered_hops", "waiting")

    def __init__(self) -> None:
        self.clear()

    def clear(self) -> None:
        """Know nothing."""
        self.sums = np.zeros((3, 0), dtype=np.float32)
        self.drop()

    def drop(self) -> None:
        """Give up what is not yet taken over."""
        self.gathered = np.zeros((3, 0), dtype=np.float32)
        self.gathered_hops = 0
        self.waiting: np.ndarray | None = None

    def learn(self, scene: Scene) -> None:
        """Take in a hop with a tooth in metal in which nothing is suspected."""
        spectrum_db = scene.view.spectrum_db
        if self.sums.shape[1] != spectrum_db.size:
            self.clear()
            self.sums = np.zeros((3, spectrum_db.size), dtype=np.float32)
        if not self.gathered_hops:
            self.gathered = np.zeros_like(self.sums)
        power = 10.0 ** (0.1 * spectrum_db)
        hop = np.stack((np.ones_like(power), power, power * power))
        hop[:, np.clip(scene.comb.bins + TAKEN, 0, power.size - 1)] = 0.0
        self.gathered += hop
        self.gathered_hops += 1
        if self.gathered_hops == BATCH_HOPS:
            if self.waiting is not None:
                self._take_over(self.waiting)
            self.waiting, self.gathered_hops = self.gathered, 0

    def _take_over(self, batch: np.ndarray) -> None:
        sums = self.sums + batch
        self.sums = sums * np.minimum(1.0, np.float32(LONGEST_HOPS) / np.maximum(sums[0], np.float32(1.0)))

    def newness(self, frequency_hz: float, level_db: float, scene: Scene, hop_s: float) -> float:
        """Return how far a line is something else than what the job's cuts have sounded like so far.

        Parameters
        ----------
        frequency_hz, level_db
            The line.
        scene
            The spectrum.
        hop_s
            Time between two spectra.

        Returns
        -------
        newness
            1 for what is far louder, -1 for what has swayed as noise does and been as loud all along, 0 where
            neither is so or too little is known.
        """
        if self.sums.shape[1] != scene.view.spectrum_db.size:
            return 0.0
        place = round(frequency_hz / scene.window.bin_hz)
        near = self.sums[:, max(place - AROUND_BINS, 0) : place + AROUND_BINS + 1]
        means = near[1:] / np.maximum(near[0], np.float32(1.0))
        loudest = int(means[0].argmax())
        known = _share(float(near[0, loudest]) * hop_s / scene.window.duration_s, *KNOWN_WINDOWS)
        if not known:
            return 0.0
        mean, square = max(float(means[0, loudest]), FAINTEST), float(means[1, loudest])
        grown_db = level_db - 10 * math.log10(mean)
        sways = _share(math.sqrt(max(square / mean**2 - 1.0, 0.0)), *SWAYING)
        as_ever = 1.0 - _share(grown_db, AS_EVER_DB, LOUDER_DB)
        return known * (_share(grown_db, NEW_DB, MUCH_NEWER_DB) - sways * as_ever)


def _share(value: float, low: float, high: float) -> float:
    return min(max((value - low) / (high - low), 0.0), 1.0)
