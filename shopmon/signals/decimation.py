"""Lowering the sample rate by a whole factor, run by run, exactly as if the signal came in one piece."""

import numpy as np

LOWEST_RATE_HZ = 16_000.0
_HALF_LENGTH = 24
_KAISER_BETA = 6.76
_CUTOFF = 0.47
MOST_TOGETHER = 32


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

    Only every `factor`-th sample is worked out: a few outputs at a time are one matrix product of the samples
    they see with the taps, shifted for each of them. With 145 taps that is cheaper than going through a
    transform.

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
        together = _divisor(run_frames // factor)
        width = factor * (together - 1) + taps.size
        self._joined = np.zeros((channels, taps.size - 1 + run_frames), dtype=np.float32)
        apart = factor * together
        self._seen = np.lib.stride_tricks.sliding_window_view(self._joined, width, axis=1)[:, ::apart]
        self._taps = np.zeros((width, together), dtype=np.float32)
        for output in range(together):
            self._taps[factor * output : factor * output + taps.size, output] = taps[::-1]

    @property
    def tail(self) -> np.ndarray:
        """The samples that the next run still needs, shape ``(channels, taps - 1)``."""
        return self._joined[:, self.run_frames :]

    @tail.setter
    def tail(self, samples: np.ndarray) -> None:
        """Go on from samples that were kept."""
        self._joined[:, self.run_frames :] = samples

    def clear(self) -> None:
        """Forget what came before."""
        self._joined[:] = 0

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
        kept = self._joined.shape[1] - self.run_frames
        self._joined[:, :kept] = self.tail
        self._joined[:, kept:] = run
        return np.matmul(np.ascontiguousarray(self._seen), self._taps).reshape(len(run), -1)


def _divisor(outputs: int) -> int:
    """Largest whole part of a run's outputs that is worth one column each."""
    return next(count for count in range(MOST_TOGETHER, 0, -1) if outputs % count == 0)
