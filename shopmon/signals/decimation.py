"""Lowering the sample rate by a whole factor, run by run, exactly as if the signal came in one piece."""

import numpy as np
from scipy import fft

LOWEST_RATE_HZ = 16_000.0
_HALF_LENGTH = 24
_KAISER_BETA = 6.76
_CUTOFF = 0.47


def decimation_factor(sample_rate_hz: float, lowest_rate_hz: float = LOWEST_RATE_HZ) -> int:
    """Return the largest whole factor that leaves at least `lowest_rate_hz`.

    Examples
    --------
    >>> [decimation_factor(r) for r in (8000, 44100, 48000, 192000)]
    [1, 2, 3, 12]
    """
    return max(1, int(sample_rate_hz // lowest_rate_hz))


def decimation_taps(factor: int) -> np.ndarray:
    """Design the low-pass filter before decimating: a Kaiser-windowed sinc.

    Parameters
    ----------
    factor
        Decimation factor, 1 or more.

    Returns
    -------
    numpy.ndarray
        Shape ``(48 * factor + 1,)``, unit gain at 0 Hz, about 70 dB stop band (Kaiser's formula, beta 6.76),
        flat to 0.42 and closed from 0.52 of the new rate. Delay: half the length.
    """
    if factor == 1:
        return np.ones(1)
    n = np.arange(2 * _HALF_LENGTH * factor + 1) - _HALF_LENGTH * factor
    taps = np.sinc(2 * _CUTOFF * n / factor) * np.kaiser(n.size, _KAISER_BETA)
    return taps / taps.sum()


class Decimator:
    """Decimate equal runs of a stream; the end of each run is remembered for the next.

    Parameters
    ----------
    factor
        Decimation factor.
    run_frames
        Frames per run, a multiple of `factor`.
    channels
        Number of channels.
    """

    def __init__(self, factor: int, run_frames: int, channels: int):
        if run_frames % factor:
            raise ValueError(f"a run of {run_frames} frames is no multiple of the factor {factor}")
        self.factor = factor
        self.run_frames = run_frames
        taps = decimation_taps(factor)
        self.delay_frames = taps.size // 2
        self.tail = np.zeros((channels, taps.size - 1), dtype=np.float32)
        least = run_frames + taps.size - 1
        self._short = fft.next_fast_len(-(-least // factor), real=True)
        self._size = factor * self._short
        self._response = fft.rfft(taps, self._size).astype(np.complex64)

    def clear(self) -> None:
        """Forget what came before."""
        self.tail[:] = 0

    def __call__(self, run: np.ndarray) -> np.ndarray:
        """Filter and decimate one run.

        Parameters
        ----------
        run
            float32 of shape ``(channels, run_frames)``.

        Returns
        -------
        numpy.ndarray
            float32 of shape ``(channels, run_frames / factor)``.
        """
        if self.factor == 1:
            return run
        joined = np.concatenate((self.tail, run), axis=1)
        self.tail = joined[:, run.shape[1] :].copy()
        folded = self._folded(fft.rfft(joined, self._size, axis=1) * self._response)
        first = self.tail.shape[1] // self.factor
        filtered = fft.irfft(folded, self._short, axis=1) / np.float32(self.factor)
        return filtered[:, first : first + run.shape[1] // self.factor]

    def _folded(self, spectrum: np.ndarray) -> np.ndarray:
        """Fold a half spectrum as taking every `factor`-th sample would; cheaper than going back first."""
        count = self._short // 2 + 1
        out = spectrum[:, :count].copy()
        for image in range(1, self.factor):
            first = image * self._short
            upright = min(count, spectrum.shape[1] - first)
            if upright > 0:
                out[:, :upright] += spectrum[:, first : first + upright]
            if upright < count:
                start, mirror = max(upright, 0), self._size - first
                out[:, start:] += spectrum[:, mirror - count + 1 : mirror - start + 1][:, ::-1].conj()
        return out
