"""Several channels made one, each weighed by how far the spindle, or the engagement, stands out in it.

Each channel is brought to its own noise floor, the sum to the main channel's, so that levels are those of a
real channel. What the idle machine sounds like under the weights of this moment is divided out and what it
sounds like under the weights of the idle time is put back: a channel that drops out, comes back or is found
useless in mid-cut moves neither floor nor background. Above what a slower sensor hears the
others are heard without it. A channel that is alone is passed on untouched.
"""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from shopmon.listening.intake.channel_sums import (
    interrupted,
    mean_where,
    numbers,
    power_of_db,
    shared_out,
    weighted_sum,
)
from shopmon.listening.state import Memory
from shopmon.signals.levels import power_db

if TYPE_CHECKING:
    from shopmon.listening.rotation.comb_view import CombView

LEARN_HOPS, SLOWEST_HOPS = 6, 60
FLOOR_EVERY_HOPS = 10
DEAD_HOPS = 5
EDGE_SHARE = 0.2
REACH_NEEDED = 0.84
CLIPPED_SHARE = 1e-3
HEIGHT_CAP_DB = 20.0
TONE_DB, RISE_DB = 10.0, 6.0
CONTRAST_SHARE, CONTRAST_FROM_DB = 0.12, 1.0
LEAST_SCORE, LEAST_WEIGHT = 0.5, 0.15
OTHER_WEIGHTS, OTHER_HOPS = 0.25, 12


class Channels(Memory):
    """Knows each channel's usual sound and health, and adds the channels up.

    Parameters
    ----------
    count
        Number of channels.
    bands
        Number of bands of the band levels.
    reach
        Up to which share of half the rate each channel hears; None where all hear everything.
    band_ends
        Where each band ends, as a share of half the rate; needed with `reach`.

    Attributes
    ----------
    use
        Which channels are fit to be heard now.
    main
        The channel whose levels are shown, None until one was chosen.
    moved_db
        What another choice of weights in the last idle hop added to the idle machine's spectrum and bands,
        None without one.
    """

    kept = ("constant_hops", "good_hops", "main", "hops", "usual_db", "floor_db", "usual_bands_db",
            "idle_weights", "contrast_db", "other_hops", "trusted")  # fmt: skip

    def __init__(
        self, count: int, bands: int, reach: np.ndarray | None = None, band_ends: np.ndarray | None = None
    ):
        self.count = count
        # above REACH_NEEDED of half the rate nothing is asked of any
        self._reach = None if reach is None or (reach >= REACH_NEEDED).all() else reach
        self._hears_band = None if self._reach is None else reach[:, None] >= band_ends
        self._hears: np.ndarray | None = None
        self._ready = np.ones(count, dtype=bool)
        self.constant_hops = np.zeros(count, dtype=np.int64)
        self.good_hops = np.zeros(count, dtype=np.int64)
        self.main: int | None = None
        self.hops = np.zeros(count, dtype=np.int64)
        self.usual_db = np.zeros((count, 0), dtype=np.float32)
        self.floor_db = np.zeros((count, 0), dtype=np.float32)
        self.usual_bands_db = np.zeros((count, bands))
        self.idle_weights = np.zeros(count)
        self.contrast_db = np.zeros(count)
        self.other_hops = 0
        self.trusted = False
        self.use = np.ones(count, dtype=bool)
        self.clipping = np.zeros(count, dtype=bool)
        self.moved_db: tuple[np.ndarray, np.ndarray] | None = None
        self._weights = np.zeros(count)
        self._spectra = np.zeros((count, 0))
        self._scales: tuple | None = None

    def clear(self) -> None:
        """Forget the samples at hand; what is usual stays known."""
        self.constant_hops[:] = 0
        self.good_hops[:] = 0
        self.contrast_db[:] = 0.0
        self.other_hops = 0
        self.trusted = False

    def check(self, hop: np.ndarray, constant: Sequence, clipped: Sequence, needed_hops: int) -> None:
        """Take in the health of one hop of every channel.

        Parameters
        ----------
        hop
            Shape ``(channels, frames)``.
        constant
            Which channels delivered one value only.
        clipped
            Samples at full scale of each channel.
        needed_hops
            How many good hops fill the analysis window.
        """
        if self.count == 1:
            return
        constant = np.asarray(constant, dtype=bool)
        self.constant_hops = np.where(constant, self.constant_hops + 1, 0)
        edge = max(2, int(EDGE_SHARE * hop.shape[1]))
        halting = (np.ptp(hop[:, :edge], axis=1) == 0) | (np.ptp(hop[:, -edge:], axis=1) == 0)
        self.clipping = np.asarray(clipped) > CLIPPED_SHARE * hop.shape[1]
        bad = constant | halting | interrupted(hop)
        if self._else_heard(bad | self.clipping):
            bad = bad | self.clipping
        self.good_hops = np.where(bad, 0, self.good_hops + 1)
        self.use = self.good_hops >= min(needed_hops, int(self.good_hops.max()))

    def _else_heard(self, unfit: np.ndarray) -> bool:
        """Another channel has heard the spindle, or nobody knows yet: a clipped one is better than none."""
        return not self.idle_weights.any() or bool(np.any(self.idle_weights[~unfit] > 0))

    @property
    def dead(self) -> tuple[int, ...]:
        """Numbers, from 1, of the channels that have gone constant while others have not."""
        if self.count == 1:
            return ()
        return numbers((self.constant_hops >= DEAD_HOPS) & (self.constant_hops.min() == 0))

    @property
    def overloaded(self) -> tuple[int, ...]:
        """Numbers, from 1, of the channels at full scale that are left out while others are heard."""
        return () if self.count == 1 else numbers(self.clipping & ~self.use)

    @property
    def leading(self) -> int:
        """The channel that weighs most in the sum."""
        return int(self._weights.argmax())

    def combine(
        self,
        spectra: np.ndarray,
        bands: np.ndarray,
        floor: Callable[[np.ndarray], np.ndarray],
        idle: bool,
    ) -> tuple[np.ndarray, np.ndarray]:
        """Return one spectrum and one set of band levels in dB.

        Parameters
        ----------
        spectra, bands
            Powers of shape ``(channels, bins)`` and ``(channels, times, bands)``.
        floor
            Local floor of a spectrum in dB.
        idle
            No tooth is in metal and the window is full: take in what is usual.
        """
        if self.count == 1:
            return power_db(spectra[0]), power_db(bands[0])
        self._spectra, self.moved_db = spectra, None
        if self.usual_db.shape != spectra.shape:
            self.usual_db, self.floor_db = np.zeros_like(spectra), np.zeros_like(spectra)
            self.hops[:] = 0
            self._scales = None
        if self._reach is not None and (self._hears is None or self._hears.shape != spectra.shape):
            self._hears = self._within(spectra.shape[1])
        if idle:
            self._learn(spectra, bands, floor)
        ready = self.use & (self.hops >= LEARN_HOPS)
        if not ready.any() or not (idle or self.hops[self.main] >= LEARN_HOPS):
            return self._alone(spectra, bands, floor)
        self._ready = ready
        if idle:
            self._settle(ready)
        self._weights = self.idle_weights if idle else self._weights_now(spectra, ready)
        return self._mixed(spectra, bands)

    def _learn(self, spectra: np.ndarray, bands: np.ndarray, floor) -> None:
        self.hops = self.hops + self.use
        share = self.use / np.clip(self.hops, 1, SLOWEST_HOPS)
        moved = power_db(spectra) - self.usual_db
        self.usual_db = self.usual_db + share[:, None].astype(np.float32) * moved
        moved_bands = power_db(bands).mean(axis=1) - self.usual_bands_db
        self.usual_bands_db = self.usual_bands_db + share[:, None] * moved_bands
        due = self.use & ((self.hops == LEARN_HOPS) | (self.hops % FLOOR_EVERY_HOPS == 0))
        for channel in np.flatnonzero(due):
            self.floor_db[channel] = floor(self.usual_db[channel])
        self._scales = None

    def _alone(self, spectra: np.ndarray, bands: np.ndarray, floor) -> tuple[np.ndarray, np.ndarray]:
        """Hear the most tuneful channel that is fit while nothing usual is known of any."""
        if self.main is None or not self.use[self.main]:
            levels_db = power_db(spectra)
            tones = [np.clip(row - floor(row) - TONE_DB, 0, HEIGHT_CAP_DB).mean() for row in levels_db]
            whole = self.use if self._reach is None else self.use & (self._reach >= REACH_NEEDED)
            self.main = int(np.argmax(np.where(whole if whole.any() else self.use, tones, -1.0)))
        self.idle_weights = self._weights = np.eye(self.count)[self.main]
        return power_db(spectra[self.main]), power_db(bands[self.main])

    def _settle(self, ready: np.ndarray) -> None:
        """Choose the idle time's weights anew where they no longer fit; say how far that moves things."""
        wanted = self._shares(np.where(ready, self.contrast_db - CONTRAST_FROM_DB, 0.0), ready)
        must = bool(np.any((self.idle_weights > 0) & ~ready)) or not self.idle_weights.any()
        differs = np.abs(wanted - self.idle_weights).max() > OTHER_WEIGHTS
        self.other_hops = self.other_hops + 1 if differs else 0
        if not must and self.other_hops < OTHER_HOPS:
            return
        before = self._idle_db() if self.hops[self.main] >= LEARN_HOPS else None
        if not must or wanted[self.main] == 0:
            self.main = int(np.argmax(wanted))
        self.idle_weights, self.other_hops, self._scales = wanted, 0, None
        if before is not None:
            after = self._idle_db()
            self.moved_db = (after[0] - before[0], after[1] - before[1])

    def _idle_db(self) -> tuple[np.ndarray, np.ndarray]:
        """Spectrum and bands of the idle machine under the weights of the idle time."""
        _, _, idle, floor_db = self._scaled()
        return floor_db + power_db(idle), self._of_main(self.usual_bands_db, self._hears_band)

    def _scaled(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """One over each channel's floor, its usual heights over it, their idle sum, and the floor shown."""
        if self._scales is None:
            heights = power_of_db(self.usual_db - self.floor_db)
            idle = weighted_sum(self._heard(self.idle_weights), heights)
            floor_db = self._of_main(self.floor_db, self._hears)
            self._scales = (power_of_db(-self.floor_db), heights, idle, floor_db)
        return self._scales

    def _heard(self, weights: np.ndarray) -> np.ndarray:
        """The weights within the spectrum: where a channel is deaf, the others have its share."""
        return weights if self._reach is None else shared_out(weights, self._ready, self._hears)

    def _of_main(self, rows: np.ndarray, hears: np.ndarray | None) -> np.ndarray:
        """Return the main channel's row; where it is deaf, that of the channel that is heard most there."""
        if hears is None:
            return rows[self.main]
        order = self.idle_weights + 0.01 * self._ready
        order[self.main] = 10.0
        best = np.argmax(np.where(hears, order[:, None], -1.0), axis=0)
        return np.take_along_axis(rows, best[None], axis=0)[0]

    def _weights_now(self, spectra: np.ndarray, ready: np.ndarray) -> np.ndarray:
        """Share of each channel within a rise, by how far comb or engagement stands out in it."""
        if self.trusted:
            score = self.contrast_db - CONTRAST_FROM_DB
        else:
            rise = power_db(spectra[:, ::2]) - self.usual_db[:, ::2]
            hears = None if self._hears is None else self._hears[:, ::2]
            score = mean_where(np.clip(rise - RISE_DB, 0, HEIGHT_CAP_DB), hears)
        return self._shares(np.where(ready, score, 0.0), ready)

    def _shares(self, score: np.ndarray, ready: np.ndarray) -> np.ndarray:
        score = np.maximum(score, 0.0)
        if score.max() < LEAST_SCORE:
            return ready / ready.sum()
        weights = (score / score.max()) ** 2
        weights[weights < LEAST_WEIGHT] = 0.0
        return weights / np.sort(weights).sum()

    def _mixed(self, spectra: np.ndarray, bands: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        if self._only_main and self.idle_weights[self.main] == 1.0:
            return power_db(spectra[self.main]), power_db(bands[self.main])
        scale, heights, idle, floor_db = self._scaled()
        weights = self._heard(self._weights)
        total = weighted_sum(weights, spectra * scale)
        if self._weights is not self.idle_weights:
            total = total * (idle / weighted_sum(weights, heights))
        usual = self.usual_bands_db
        of_bands = self._weights
        if self._hears_band is not None:
            of_bands = shared_out(self._weights, self._ready, self._hears_band)[:, None, :]
        of_bands = weighted_sum(of_bands, bands * power_of_db(-usual)[:, None, :])
        return floor_db + power_db(total), self._of_main(usual, self._hears_band) + power_db(of_bands)

    @property
    def _only_main(self) -> bool:
        """The main channel is heard alone, and hears everything."""
        whole = self._reach is None or self._reach[self.main] >= REACH_NEEDED
        return whole and self._weights[self.main] == 1.0

    def join(self, spectra: np.ndarray) -> np.ndarray:
        """Add up the spectra of another stretch of sound on the same grid with the weights of the last hop.

        Parameters
        ----------
        spectra
            Powers of shape ``(channels, bins)``; so is, without the channels, what is returned.
        """
        if self.count == 1:
            return spectra[0]
        if self.usual_db.shape != spectra.shape or not self._weights.any():
            return spectra[self.main or 0]
        if self._only_main:
            return spectra[self.main]
        scale, heights, idle, floor_db = self._scaled()
        weights = self._heard(self._weights)
        level = idle / weighted_sum(weights, heights) * power_of_db(floor_db)
        return weighted_sum(weights, spectra * scale) * level

    def hear_comb(self, comb: "CombView", trusted: bool) -> None:
        """Judge in which channel the spindle's comb stands out.

        Parameters
        ----------
        comb
            The comb: where its lines are, and places halfway between them.
        trusted
            The comb is known for sure.
        """
        self.trusted = trusted
        if self.count == 1:
            return
        bins, between = comb.bins, comb.between
        contrast = np.zeros(self.count)
        hears = None if self._hears is None else self._hears[:, bins]
        for shift in (-1, 0, 1):
            heights = power_db(self._spectra[:, bins + shift]) - power_db(self._spectra[:, between + shift])
            contrast += mean_where(np.clip(heights, -HEIGHT_CAP_DB, HEIGHT_CAP_DB), hears) / 3
        self.contrast_db = self.contrast_db + CONTRAST_SHARE * (contrast - self.contrast_db)

    def loudness(self, powers: np.ndarray) -> float:
        """Return the power of a real channel: the main one's where it is fit, else the loudest fit one's."""
        if self.count == 1:
            return float(powers[0])
        if self.main is not None and self.use[self.main]:
            return float(powers[self.main])
        return float(powers[self.use].max())

    def even(self, powers: np.ndarray) -> np.ndarray:
        """Add up spectra of any grid, each in units of its own median, weighed as in the last hop; in dB.

        Parameters
        ----------
        powers
            Shape ``(channels, bins)``.
        """
        if self.count == 1:
            return power_db(powers[0])
        if self._reach is None:
            usual = np.maximum(np.median(powers[:, ::4], axis=1, keepdims=True), 1e-20)
            return power_db(weighted_sum(self._weights, powers / usual))
        hears = self._within(powers.shape[1])
        usual = [max(np.median(row[heard][::4]), 1e-20) for row, heard in zip(powers, hears, strict=True)]
        weights = shared_out(self._weights, self._ready, hears)
        return power_db(weighted_sum(weights, powers / np.array(usual, dtype=powers.dtype)[:, None]))

    def _within(self, bins: int) -> np.ndarray:
        """Which channels hear in each bin of a spectrum from 0 to half the rate."""
        hears = np.arange(bins) <= self._reach[:, None] * (bins - 1)
        hears[:, 0] = True
        return hears
