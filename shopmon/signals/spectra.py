"""Amplitude-correct spectra with a Hann window, and what can be read between their bins.

Scaling is *sine power*: a sine of amplitude a has a peak of a² at its frequency, so that a full-scale sine
reads 0 dB (coherent-gain scaling; Harris, Proc. IEEE 66, 1978, 51-83, for the window's figures).
"""

import numpy as np
from scipy import fft

FAR_BINS = 1.62
AROUND = np.array([[-1], [0], [1]])


def hann_window(length: int) -> np.ndarray:
    """Return the periodic Hann window, shape ``(length,)``, float64.

    The periodic form has an equivalent noise bandwidth of exactly 1.5 bins.
    """
    return 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(length) / length)


def sine_scaled(window: np.ndarray) -> np.ndarray:
    """Scale a window so that the squared transform of a sine of amplitude a peaks at a².

    Examples
    --------
    >>> w = sine_scaled(hann_window(64))
    >>> round(float(w.sum()), 9)
    2.0
    """
    return window * (2.0 / window.sum())


def sine_power_spectrum(samples: np.ndarray, window: np.ndarray, size: int) -> np.ndarray:
    """Return the sine-power spectrum of each row.

    Parameters
    ----------
    samples
        Shape ``(..., n)``.
    window
        Shape ``(n,)``, from `sine_scaled`.
    size
        Length of the transform, at least n; the rest is zeros.

    Returns
    -------
    numpy.ndarray
        Shape ``(..., size // 2 + 1)``; bin spacing is the sample rate over `size`.
    """
    return power_of(fft.rfft(samples * window, size, axis=-1))


def power_of(spectrum: np.ndarray) -> np.ndarray:
    """Return the squared magnitude of a complex spectrum, shape as given."""
    real, imaginary = spectrum.real, spectrum.imag
    power = real * real
    power += imaginary * imaginary
    return power


def hann_kernel(offset_bins):
    """Return the Hann window's amplitude response, 1 at offset 0.

    Parameters
    ----------
    offset_bins : array_like
        Distance from the line in units of 1 / window length.

    Examples
    --------
    >>> [round(float(hann_kernel(d)), 3) for d in (0, 0.5, 1, 2)]
    [1.0, 0.849, 0.5, 0.0]
    """
    d = np.asarray(offset_bins, dtype=float)
    d = np.where(np.abs(np.abs(d) - 1) < 1e-6, d + 1e-5, d)
    return np.sinc(d) / (1 - d * d)


def hann_skirt_db(offset_bins: np.ndarray) -> np.ndarray:
    """Return an upper envelope of the Hann window's power response in dB.

    Between the side lobes' peaks the response itself dips; a line's skirt is judged by the envelope
    1 / (pi d (d² - 1)).
    """
    d = np.abs(np.asarray(offset_bins, dtype=float))
    near = 20 * np.log10(np.abs(hann_kernel(np.minimum(d, FAR_BINS))))
    return np.where(d > FAR_BINS, far_skirt_db(np.maximum(d, FAR_BINS)), near)


def far_skirt_db(offset_bins: np.ndarray) -> np.ndarray:
    """Return `hann_skirt_db` beyond the main lobe, from `FAR_BINS` on."""
    return -20 * np.log10(np.pi * offset_bins * (offset_bins * offset_bins - 1))


class LineReader:
    """Read a line's frequency and level between the bins of a zero-padded Hann spectrum.

    The ratio of the two neighbours of the highest bin fixes the offset exactly for a lone steady line, with
    any padding; no parabola bias.

    Parameters
    ----------
    length
        Window length in samples.
    size
        Length of the transform.
    """

    def __init__(self, length: int, size: int):
        spacing = length / size
        offsets = np.linspace(-0.55, 0.55, 111)
        left = 20 * np.log10(hann_kernel((offsets + 1) * spacing))
        right = 20 * np.log10(hann_kernel((offsets - 1) * spacing))
        self._ratios_db = right - left
        # both are read off in one go, as the parts of a complex number
        self._offset_and_loss_db = offsets + 1j * 20 * np.log10(hann_kernel(offsets * spacing))

    def __call__(self, spectrum_db: np.ndarray, peaks: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return fractional bin positions and levels in dB of the peaks.

        Parameters
        ----------
        spectrum_db
            Shape ``(bins,)``.
        peaks
            Indexes of local maxima, neither the first nor the last bin.
        """
        before, at, after = spectrum_db[peaks + AROUND]
        read = np.interp(after - before, self._ratios_db, self._offset_and_loss_db)
        return peaks + read.real, at - read.imag


class LocalFloor:
    """The noise floor under the lines of a spectrum: the median of blocks of bins, joined by straight lines.

    Parameters
    ----------
    bins
        Number of bins of the spectrum.
    block
        Bins per block; wide against the spacing of lines that are not to count as floor.
    """

    def __init__(self, bins: int, block: int):
        self.block = block
        self._bins = bins
        self._blocks = max(1, bins // block)
        # from the middle of one block to the middle of the next
        share = (np.arange(block) + 0.5 * (1 - block % 2)) / block
        self._shares = np.stack((1 - share, share)).astype(np.float32)

    def __call__(self, spectrum_db: np.ndarray) -> np.ndarray:
        """Return the floor in dB, shape ``(bins,)``."""
        # every other bin: with window and padding, neighbours say nearly the same
        blocks = spectrum_db[: self._blocks * self.block].reshape(self._blocks, -1)[:, ::2]
        medians = np.sort(blocks, axis=1)[:, blocks.shape[1] // 2]
        first, between = self.block // 2, (self._blocks - 1) * self.block
        floor = np.empty(self._bins, dtype=np.float32)
        floor[:first] = medians[0]
        floor[first + between :] = medians[-1]
        ends = np.empty((self._blocks - 1, 2), dtype=np.float32)
        ends[:, 0], ends[:, 1] = medians[:-1], medians[1:]
        np.matmul(ends, self._shares, out=floor[first : first + between].reshape(-1, self.block))
        return floor
