"""Amplitude-correct spectra with a Hann window, and what can be read between their bins.

Scaling is *sine power*: a sine of amplitude a has a peak of a² at its frequency, so that a full-scale sine
reads 0 dB (coherent-gain scaling; Harris, Proc. IEEE 66, 1978, 51-83, for the window's figures).
"""

import numpy as np
from scipy import fft


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
    spectrum = fft.rfft(samples * window, size, axis=-1)
    return spectrum.real**2 + spectrum.imag**2


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
    far = np.maximum(d, 1.62)
    envelope = 1 / (np.pi * far * (far * far - 1))
    near = np.abs(hann_kernel(np.minimum(d, 1.62)))
    return 20 * np.log10(np.where(d > 1.62, envelope, near))


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
        self._offsets = np.linspace(-0.55, 0.55, 111)
        left = 20 * np.log10(hann_kernel((self._offsets + 1) * spacing))
        right = 20 * np.log10(hann_kernel((self._offsets - 1) * spacing))
        self._ratios_db = right - left
        self._loss_db = 20 * np.log10(hann_kernel(self._offsets * spacing))

    def __call__(self, spectrum_db: np.ndarray, peaks: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return fractional bin positions and levels in dB of the peaks.

        Parameters
        ----------
        spectrum_db
            Shape ``(bins,)``.
        peaks
            Indexes of local maxima, neither the first nor the last bin.
        """
        ratios = spectrum_db[peaks + 1] - spectrum_db[peaks - 1]
        offsets = np.interp(ratios, self._ratios_db, self._offsets)
        levels = spectrum_db[peaks] - np.interp(offsets, self._offsets, self._loss_db)
        return peaks + offsets, levels


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
        self._blocks = max(1, bins // block)
        centres = (np.arange(self._blocks) + 0.5) * block
        position = np.clip((np.arange(bins) + 0.5 - centres[0]) / block, 0, max(self._blocks - 1, 0))
        self._left = np.minimum(position.astype(np.intp), max(self._blocks - 2, 0))
        self._right = np.minimum(self._left + 1, self._blocks - 1)
        self._weight = (position - self._left).astype(np.float32)

    def __call__(self, spectrum_db: np.ndarray) -> np.ndarray:
        """Return the floor in dB, shape ``(bins,)``."""
        # every other bin: with window and padding, neighbours say nearly the same
        blocks = spectrum_db[: self._blocks * self.block].reshape(self._blocks, -1)[:, ::2]
        half = blocks.shape[1] // 2
        medians = np.partition(blocks, half, axis=1)[:, half]
        left = medians[self._left]
        return left + self._weight * (medians[self._right] - left)
