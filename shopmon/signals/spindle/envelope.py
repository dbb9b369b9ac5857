"""The rhythm inside a band of sound: spectra of squared envelopes, measured against their own local median.

A defect of a bearing is a train of clicks. Each click rings some resonance, and the ringing's loudness beats
at the rate of the clicks; so the spectrum of the squared envelope of a band that holds such a resonance shows
that rate and its multiples (Randall, Antoni, *Mech. Syst. Signal Process.* 25, 2011, 485-520).
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy import fft

from shopmon.signals.spectra import hann_window

LOWEST_HZ, HIGHEST_HZ = 300.0, 20_000.0
SEGMENT_S = 3.0
MEDIAN_HZ = 40.0
WHITEN_HZ = 600.0  # some lines of a bearing wide: what lies between them is not raised to them
MOST_OVER_MEAN, LINE_PASSES = 15.0, 2  # of a line's power; clicks at even distances keep their lines
HALF_FROM_HZ, LEAST_WIDTH = 1000.0, 0.6  # of the highest rhythm that is wanted


@dataclass(frozen=True)
class EnvelopeSpectra:
    """Spectra of the squared envelopes of several bands.

    Attributes
    ----------
    bands_hz
        One pair (lowest, highest) per row.
    whitened
        Per row: the band was made equally loud throughout before the envelope was taken.
    bin_hz
        Spacing of the bins.
    excess_db
        Shape ``(rows, bins)``: how far each bin stands over the median around it, dB.
    segments
        How many half-overlapping stretches of sound were averaged.
    """

    bands_hz: tuple[tuple[float, float], ...]
    whitened: tuple[bool, ...]
    bin_hz: float
    excess_db: np.ndarray
    segments: int

    def whitened_only(self) -> "EnvelopeSpectra":
        """Return the rows in which no single line can speak for a whole band."""
        rows = [row for row, white in enumerate(self.whitened) if white]
        return replace(
            self,
            bands_hz=tuple(self.bands_hz[row] for row in rows),
            whitened=(True,) * len(rows),
            excess_db=self.excess_db[rows],
        )


def octave_bands(sample_rate_hz: float) -> tuple[tuple[float, float], ...]:
    """Return the whole range and overlapping octaves, (lowest, highest) in Hz."""
    top = min(0.45 * sample_rate_hz, HIGHEST_HZ)
    bands = [(LOWEST_HZ, top)]
    for first in (500.0, 700.0):
        lowest = first
        while lowest < 0.8 * top:
            bands.append((lowest, min(2 * lowest, top)))
            lowest *= 2
    return tuple(bands)


def half_octave_bands(sample_rate_hz: float, highest_hz: float) -> tuple[tuple[float, float], ...]:
    """Return overlapping half octaves that are wide enough for rhythms up to `highest_hz`, all in Hz."""
    top, bands, lowest = min(0.45 * sample_rate_hz, HIGHEST_HZ), [], HALF_FROM_HZ
    while lowest * 2**0.5 <= top:
        if lowest * (2**0.5 - 1) > LEAST_WIDTH * highest_hz:
            bands.append((lowest, lowest * 2**0.5))
        lowest *= 2**0.25
    return tuple(bands)


def envelope_spectra(samples: np.ndarray, sample_rate_hz: float, highest_hz: float) -> EnvelopeSpectra:
    """Return the spectra of squared envelopes: of octaves as they are, of octaves and halves whitened.

    Parameters
    ----------
    samples
        Shape ``(n,)``, one channel, at least half a second.
    sample_rate_hz
        Samples per second.
    highest_hz
        Up to which frequency the rhythm is wanted.

    Notes
    -----
    Stretches of up to 3 s: longer ones would smear the tones of a spindle whose speed wanders. Whitening lets
    a faint ringing count beside loud tones of motors (J. Antoni, R. Randall, *J. Sound Vib.* 294, 2006; done
    here by the local mean of the spectrum), and keeps one line that beats from looking like clicks, which
    ring throughout a band. A ringing is narrower than an octave: half ones hold less noise.
    """
    size = min(samples.size, int(SEGMENT_S * sample_rate_hz))
    starts = range(0, samples.size - size + 1, max(1, size // 2))
    bands, halves = octave_bands(sample_rate_hz), half_octave_bands(sample_rate_hz, highest_hz)
    width = max(3, int(WHITEN_HZ * size / sample_rate_hz))
    total = None
    for start in starts:
        spectrum = fft.rfft(samples[start : start + size] - samples[start : start + size].mean())
        flat = _whitened(spectrum, width)
        rows = [
            _squared_envelope_power(source, band, size / sample_rate_hz, highest_hz)
            for source, wanted in ((spectrum, bands), (flat, bands + halves))
            for band in wanted
        ]
        total = np.array(rows) if total is None else total + np.array(rows)
    bin_hz = sample_rate_hz / size
    return EnvelopeSpectra(
        bands_hz=bands + bands + halves,
        whitened=(False,) * len(bands) + (True,) * len(bands + halves),
        bin_hz=bin_hz,
        excess_db=_over_median_db(total, bin_hz),
        segments=len(starts),
    )


def _whitened(spectrum: np.ndarray, width: int) -> np.ndarray:
    """Return a spectrum as loud as its neighbours everywhere, single lines cut down to a bound over them."""
    power = np.abs(spectrum) ** 2
    mean = _moving_mean(power, width)
    for _ in range(LINE_PASSES):
        mean = _moving_mean(np.minimum(power, MOST_OVER_MEAN * mean), width)
    bound = np.minimum(1.0, np.sqrt(MOST_OVER_MEAN * mean / np.maximum(power, 1e-300)))
    return spectrum / np.sqrt(mean) * bound


def _moving_mean(values: np.ndarray, width: int) -> np.ndarray:
    """Return the mean of `width` neighbours, never zero."""
    padded = np.pad(values, (width // 2, width - width // 2), mode="edge")
    sums = np.cumsum(padded)
    mean = (sums[width:] - sums[:-width]) / width
    return np.maximum(mean, max(float(mean.max()) * 1e-12, 1e-30))


def _squared_envelope_power(spectrum, band_hz, seconds: float, highest_hz: float) -> np.ndarray:
    """Return the power of one band's squared envelope up to `highest_hz`; zeros above half its width."""
    low, high = (int(edge * seconds) for edge in band_hz)
    size = fft.next_fast_len(2 * (high - low))  # the squared envelope is twice as wide as the band
    envelope = np.abs(fft.ifft(spectrum[low:high], size)) ** 2
    mean = envelope.mean()
    bins = int(highest_hz * seconds) + 1
    if mean <= 0:
        return np.zeros(bins)
    power = np.abs(fft.rfft((envelope / mean - 1) * hann_window(size))) ** 2 / size**2
    kept = power[: min(bins, high - low)]
    return np.pad(kept, (0, bins - kept.size))


def _over_median_db(power: np.ndarray, bin_hz: float) -> np.ndarray:
    from scipy.ndimage import median_filter

    width = int(MEDIAN_HZ / bin_hz) | 1
    floor = median_filter(power, size=(1, width), mode="nearest")
    least = 1e-3 * np.median(power, axis=1, keepdims=True) + 1e-20
    return 10 * np.log10(np.maximum(power / np.maximum(floor, least), 1e-3))
