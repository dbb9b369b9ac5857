"""The first stage: levels, health of the input, decimation, spectrum and band powers of each hop."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import compress
from math import isfinite, isnan

import numpy as np
from scipy import fft

from shopmon.listening.intake.channels import Channels
from shopmon.listening.intake.hops import SUBFRAMES, Rates
from shopmon.listening.intake.recent import Recent
from shopmon.listening.state import Memory, decode, encode
from shopmon.signals.decimation import Decimator
from shopmon.signals.levels import FULL_SCALE, full_scale_runs, sine_power
from shopmon.signals.lines import SeenLines, find_lines
from shopmon.signals.spectra import (
    LineReader,
    LocalFloor,
    hann_window,
    power_of,
    sine_power_spectrum,
    sine_scaled,
)

BANDS = 10
LOWEST_BAND_HZ = 100.0
HIGHEST_SHARE = 0.42
FLOOR_WIDTH_HZ = 160.0
LONGEST_WINDOW_S = 1.6
SHORTEST = 64
LINE_DB = 5.0


@dataclass(frozen=True, kw_only=True, eq=False)
class View:
    """What one hop looks like to the later stages.

    Attributes
    ----------
    sample
        One past the last frame.
    power, peak
        Sine power and largest magnitude of the hop, live channels only.
    live
        Number of channels that are not exactly constant.
    dead, overloaded
        Numbers, from 1, of channels that are left out because they are constant, or at full scale, while
        others are not.
    clipped, broken
        Samples at full scale of the channels that are heard; samples that are no number.
    full
        The analysis window is filled with sound of one piece.
    spectrum_db, floor_db, above_floor_db
        The spectrum, its local floor, and how far it stands above that; shape ``(bins,)``.
    lines
        What stands out of the floor.
    bands_db
        Shape ``(5, bands)``: band powers of the hop's sub-frames.
    """

    sample: int
    power: float
    peak: float
    live: int
    dead: tuple[int, ...] = ()
    overloaded: tuple[int, ...] = ()
    clipped: int
    broken: int
    full: bool
    spectrum_db: np.ndarray
    floor_db: np.ndarray
    above_floor_db: np.ndarray
    lines: SeenLines
    bands_db: np.ndarray


class Window:
    """Everything that depends on the length of the analysis window.

    Parameters
    ----------
    rate_hz
        Analysis rate.
    duration_s
        Window length.
    """

    def __init__(self, rate_hz: float, duration_s: float):
        self.length = round(rate_hz * duration_s)
        self.duration_s = self.length / rate_hz
        # a quarter of padding leaves two bins within the half width of every line
        self.size = 2 * fft.next_fast_len(-(-5 * self.length // 8), real=True)
        self.bin_hz = rate_hz / self.size
        self.bins = self.size // 2 + 1
        self.taper = sine_scaled(hann_window(self.length)).astype(np.float32)
        self._padded = np.zeros((0, self.size), dtype=np.float32)
        block = max(8, min(round(FLOOR_WIDTH_HZ / self.bin_hz), self.bins // 4))
        self.floor = LocalFloor(self.bins, block)
        self.read_lines = LineReader(self.length, self.size)

    def power(self, samples: np.ndarray) -> np.ndarray:
        """Return the sine power of `length` samples of every channel, their mean left out.

        Parameters
        ----------
        samples
            Shape ``(channels, length)``.

        Returns
        -------
        numpy.ndarray
            Shape ``(channels, bins)``.
        """
        if len(self._padded) != len(samples):
            self._padded = np.zeros((len(samples), self.size), dtype=np.float32)
        filled = self._padded[:, : self.length]
        np.subtract(samples, _means(samples), out=filled)
        filled *= self.taper
        return power_of(fft.rfft(self._padded, axis=-1))


class Front(Memory):
    """Turns hops into views.

    Parameters
    ----------
    rates
        The grid.
    channels
        Number of channels.
    tops_hz
        Up to where each of them hears, None where only the rate limits it; empty where none is limited.
    """

    kept = ("filled", "last", "duration_s", "clipped", "frames")

    def __init__(self, rates: Rates, channels: int, tops_hz: Sequence[float | None] = ()):
        self.rates = rates
        self._recent = Recent(channels, round(rates.rate_hz * LONGEST_WINDOW_S))
        self.filled = 0
        self.last = np.full(channels, np.nan, dtype=np.float32)
        reach = np.array([np.inf if top is None else 2 * top / rates.rate_hz for top in tops_hz])
        ends = _band_bins(rates)[1:] / rates.subframe
        self.channels = Channels(channels, BANDS, reach if reach.size else None, ends)
        self.duration_s = 0.4
        self.clipped = 0
        self.frames = 0
        self._decimator = Decimator(rates.factor, rates.hop_frames, channels)
        self._window: Window | None = None
        self._in_band = _in_band(_band_bins(rates), rates.subframe + 1)
        self._short = sine_scaled(hann_window(2 * rates.subframe)).astype(np.float32)

    @property
    def window(self) -> Window:
        """The analysis window in use."""
        if self._window is None or abs(self._window.duration_s - self.duration_s) > 0.01:
            self._window = Window(self.rates.rate_hz, self.duration_s)
        return self._window

    def clear(self) -> None:
        """Forget the samples: what comes is not joined to what was."""
        self._recent.clear()
        self.filled = 0
        self.last[:] = np.nan
        self.channels.clear()
        self._decimator.clear()

    def look(self, start_sample: int, hop: np.ndarray, idle: bool) -> View:
        """Take in one hop of shape ``(frames, channels)``; `idle` says that no tooth is in metal."""
        # channels first: numpy reduces along the last axis many times faster
        hop = np.ascontiguousarray(hop.T)
        hop, low, high, broken = _mended(hop)
        loudest = [max(top, -bottom) for bottom, top in zip(low, high, strict=True)]
        window, channels = self.window, self.channels
        constant = self._constant(hop, low, high)
        clipped = [
            full_scale_runs(row) if peak >= FULL_SCALE else 0 for row, peak in zip(hop, loudest, strict=True)
        ]
        channels.check(hop, constant, clipped, -(-window.length // self.rates.hop))
        self.clipped += sum(clipped)
        self.frames += hop.size
        self._push(hop)
        full = self.filled >= window.length
        spectra = window.power(self.recent(window.length))
        spectrum_db, bands_db = channels.combine(spectra, self._bands(), window.floor, idle and full)
        floor_db = window.floor(spectrum_db)
        above_floor_db = spectrum_db - floor_db
        heard, live = channels.use.tolist(), len(hop) - sum(constant)
        return View(
            sample=start_sample + hop.shape[1],
            power=channels.loudness(sine_power(hop, axis=1)),
            peak=max(compress(loudest, heard)) if live else 0.0,
            live=live,
            dead=channels.dead,
            overloaded=channels.overloaded,
            clipped=sum(compress(clipped, heard)),
            broken=broken,
            full=full,
            spectrum_db=spectrum_db,
            floor_db=floor_db,
            above_floor_db=above_floor_db,
            lines=find_lines(spectrum_db, floor_db, above_floor_db, window.read_lines, LINE_DB),
            bands_db=bands_db.astype(np.float64),
        )

    def _constant(self, hop: np.ndarray, low: list[float], high: list[float]) -> list[bool]:
        """Which channels have delivered one value only, in this hop and at the end of the one before."""
        before, self.last = self.last.tolist(), hop[:, -1].copy()
        return [
            bottom == top and (isnan(last) or last == bottom)
            for bottom, top, last in zip(low, high, before, strict=True)
        ]

    def _push(self, hop: np.ndarray) -> None:
        new = self._decimator(hop)
        self._recent.push(new)
        self.filled = min(self.filled + new.shape[1], self._recent.length)

    def recent(self, count: int) -> np.ndarray:
        """Return a view of the last `count` analysis samples of every channel."""
        return self._recent.last(count)

    def stretch(self, first: int, last: int) -> tuple[np.ndarray, float] | None:
        """Return the spectrum of a stretch of sound on the grid of the window, and its length in s.

        Parameters
        ----------
        first, last
            Frames of the stream relative to the newest one's end, so at most 0; of what is longer than the
            window only the end is used.

        Returns
        -------
        power, duration_s
            Sine power, channels joined as in the last hop, shape ``(bins,)``; None where the samples are no
            longer, or not yet, there.
        """
        stop = last // self.rates.factor
        count = min(stop - first // self.rates.factor, self.window.length)
        if stop > 0 or count < SHORTEST or count - stop > self.filled:
            return None
        samples = self._recent.last(count, back=-stop)
        power = sine_power_spectrum(samples - _means(samples), _taper(count), self.window.size)
        return self.channels.join(power), count / self.rates.rate_hz

    def _bands(self) -> np.ndarray:
        step = self.rates.subframe
        steps = self._recent.last((SUBFRAMES + 1) * step).reshape(-1, SUBFRAMES + 1, step)
        # neighbouring sub-frames share a step
        frames = np.empty((len(steps), SUBFRAMES, 2 * step), dtype=np.float32)
        np.multiply(steps[:, :-1], self._short[:step], out=frames[..., :step])
        np.multiply(steps[:, 1:], self._short[step:], out=frames[..., step:])
        power = power_of(fft.rfft(frames, axis=-1))
        return power @ self._in_band

    def snapshot(self) -> dict:
        """Return the memory, the newest samples and the decimator's tail included."""
        ring = self._recent.last(self._recent.length)
        return {**super().snapshot(), "ring": encode(ring), "tail": encode(self._decimator.tail)}

    def restore(self, data: dict) -> None:
        """Take up a memory."""
        super().restore(data)
        self._recent.fill(decode(data["ring"]))
        self._decimator.tail = decode(data["tail"])


def _mended(hop: np.ndarray) -> tuple[np.ndarray, list[float], list[float], int]:
    """Return a hop of numbers only, least and largest of each channel, and how many samples were none."""
    low, high = _extremes(hop)
    if all(map(isfinite, (*low, *high))):
        return hop, low, high, 0
    finite = np.isfinite(hop)
    hop = np.where(finite, hop, np.float32(0))
    return hop, *_extremes(hop), hop.size - int(np.count_nonzero(finite))


def _extremes(hop: np.ndarray) -> tuple[list[float], list[float]]:
    return np.minimum.reduce(hop, axis=1).tolist(), np.maximum.reduce(hop, axis=1).tolist()


def _means(samples: np.ndarray) -> np.ndarray:
    return np.add.reduce(samples, axis=1, keepdims=True) / np.float32(samples.shape[1])


@lru_cache(maxsize=8)
def _taper(length: int) -> np.ndarray:
    return sine_scaled(hann_window(length)).astype(np.float32)


def _in_band(edges: np.ndarray, bins: int) -> np.ndarray:
    """Matrix that adds up the bins of each band, shape ``(bins, bands)``."""
    at = np.arange(bins)[:, None]
    return ((at >= edges[:-1]) & (at < edges[1:])).astype(np.float32)


def _band_bins(rates: Rates) -> np.ndarray:
    """First bin of each band and one past the last, on the sub-frames' grid; ascending even at low rates."""
    edges = np.geomspace(min(LOWEST_BAND_HZ, rates.rate_hz / 20), HIGHEST_SHARE * rates.rate_hz, BANDS + 1)
    wanted = np.maximum(np.rint(edges * 2 * rates.subframe / rates.rate_hz), 1).astype(np.intp)
    steps = np.arange(BANDS + 1)
    return np.maximum.accumulate(wanted - steps) + steps
