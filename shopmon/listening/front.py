"""The first stage: levels, health of the input, decimation, spectrum and band powers of each hop."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import fft

from shopmon.listening.channels import Channels
from shopmon.listening.hops import SUBFRAMES, Rates
from shopmon.listening.state import Memory, decode, encode
from shopmon.signals.decimation import Decimator
from shopmon.signals.levels import FULL_SCALE, full_scale_runs, sine_power
from shopmon.signals.spectra import LineReader, LocalFloor, hann_window, sine_power_spectrum, sine_scaled

BANDS = 10
LOWEST_BAND_HZ = 100.0
HIGHEST_SHARE = 0.42
FLOOR_WIDTH_HZ = 160.0
LONGEST_WINDOW_S = 1.6
SHORTEST = 64


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
    spectrum_db, floor_db
        Shape ``(bins,)``.
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
    bands_db: np.ndarray

    @cached_property
    def above_floor_db(self) -> np.ndarray:
        """Height of the spectrum above its local floor, dB."""
        return self.spectrum_db - self.floor_db


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
        block = max(8, min(round(FLOOR_WIDTH_HZ / self.bin_hz), self.bins // 4))
        self.floor = LocalFloor(self.bins, block)
        self.read_lines = LineReader(self.length, self.size)


class Front(Memory):
    """Turns hops into views.

    Parameters
    ----------
    rates
        The grid.
    channels
        Number of channels.
    """

    kept = ("ring", "filled", "last", "duration_s", "clipped", "frames")

    def __init__(self, rates: Rates, channels: int):
        self.rates = rates
        self.ring = np.zeros((channels, round(rates.rate_hz * LONGEST_WINDOW_S)), dtype=np.float32)
        self.filled = 0
        self.last = np.full(channels, np.nan, dtype=np.float32)
        self.channels = Channels(channels, BANDS)
        self.duration_s = 0.4
        self.clipped = 0
        self.frames = 0
        self._decimator = Decimator(rates.factor, rates.hop_frames, channels)
        self._window: Window | None = None
        self._band_bins = _band_bins(rates)
        self._subframes = rates.subframe * np.arange(SUBFRAMES)[:, None] + np.arange(2 * rates.subframe)
        self._short = sine_scaled(hann_window(2 * rates.subframe)).astype(np.float32)

    @property
    def window(self) -> Window:
        """The analysis window in use."""
        if self._window is None or abs(self._window.duration_s - self.duration_s) > 0.01:
            self._window = Window(self.rates.rate_hz, self.duration_s)
        return self._window

    def clear(self) -> None:
        """Forget the samples: what comes is not joined to what was."""
        self.ring[:] = 0
        self.filled = 0
        self.last[:] = np.nan
        self.channels.clear()
        self._decimator.clear()

    def look(self, start_sample: int, hop: np.ndarray, idle: bool) -> View:
        """Take in one hop of shape ``(frames, channels)``; `idle` says that no tooth is in metal."""
        # channels first: numpy reduces along the last axis many times faster
        hop = np.ascontiguousarray(hop.T)
        hop, low, high, broken = _mended(hop)
        peaks = np.maximum(high, -low)
        window, channels = self.window, self.channels
        constant = self._constant(hop, low == high)
        clipped = np.array(
            [full_scale_runs(hop[i]) if peaks[i] >= FULL_SCALE else 0 for i in range(len(hop))]
        )
        channels.check(hop, constant, clipped, -(-window.length // self.rates.hop))
        self.clipped += int(clipped.sum())
        self.frames += hop.size
        self._push(hop)
        full = self.filled >= window.length
        spectra = sine_power_spectrum(self.recent(window.length), window.taper, window.size)
        spectrum_db, bands_db = channels.combine(spectra, self._bands(), window.floor, idle and full)
        heard = channels.use
        return View(
            sample=start_sample + hop.shape[1],
            power=channels.loudness(sine_power(hop, axis=1)),
            peak=0.0 if constant.all() else float(peaks[heard].max()),
            live=int(np.count_nonzero(~constant)),
            dead=channels.dead,
            overloaded=channels.overloaded,
            clipped=int(clipped[heard].sum()),
            broken=broken,
            full=full,
            spectrum_db=spectrum_db,
            floor_db=window.floor(spectrum_db),
            bands_db=bands_db.astype(np.float64),
        )

    def _constant(self, hop: np.ndarray, level: np.ndarray) -> np.ndarray:
        constant = level & ((hop[:, 0] == self.last) | np.isnan(self.last))
        self.last = hop[:, -1].copy()
        return constant

    def _push(self, hop: np.ndarray) -> None:
        new = self._decimator(hop)
        count = new.shape[1]
        self.ring = np.concatenate((self.ring[:, count:], new), axis=1)
        self.filled = min(self.filled + count, self.ring.shape[1])

    def recent(self, count: int) -> np.ndarray:
        """Return the last `count` analysis samples of every channel without their mean."""
        samples = self.ring[:, -count:]
        return samples - samples.mean(axis=1, keepdims=True)

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
        end = self.ring.shape[1] + stop
        samples = self.ring[:, end - count : end]
        taper = sine_scaled(hann_window(count)).astype(np.float32)
        power = sine_power_spectrum(samples - samples.mean(axis=1, keepdims=True), taper, self.window.size)
        return self.channels.join(power), count / self.rates.rate_hz

    def _bands(self) -> np.ndarray:
        step = self.rates.subframe
        tail = self.ring[:, -(SUBFRAMES + 1) * step :]
        power = sine_power_spectrum(tail[:, self._subframes], self._short, 2 * step)
        return np.add.reduceat(power, self._band_bins, axis=-1)[..., :BANDS]

    def snapshot(self) -> dict:
        """Return the memory, the decimator's tail included."""
        return {**super().snapshot(), "tail": encode(self._decimator.tail)}

    def restore(self, data: dict) -> None:
        """Take up a memory."""
        super().restore(data)
        self._decimator.tail = decode(data["tail"])


def _mended(hop: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, int]:
    """Return a hop of numbers only, least and largest of each channel, and how many samples were none."""
    low, high = hop.min(axis=1), hop.max(axis=1)
    if np.isfinite(low).all() and np.isfinite(high).all():
        return hop, low, high, 0
    finite = np.isfinite(hop)
    hop = np.where(finite, hop, np.float32(0))
    return hop, hop.min(axis=1), hop.max(axis=1), hop.size - int(np.count_nonzero(finite))


def _band_bins(rates: Rates) -> np.ndarray:
    """First bin of each band and one past the last, on the sub-frames' grid; ascending even at low rates."""
    edges = np.geomspace(min(LOWEST_BAND_HZ, rates.rate_hz / 20), HIGHEST_SHARE * rates.rate_hz, BANDS + 1)
    wanted = np.maximum(np.rint(edges * 2 * rates.subframe / rates.rate_hz), 1).astype(np.intp)
    steps = np.arange(BANDS + 1)
    return np.maximum.accumulate(wanted - steps) + steps
