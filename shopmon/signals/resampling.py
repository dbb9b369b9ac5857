"""Bringing a signal onto another clock: any ratio of rates, run by run, as if it came in one piece.

Each output is a weighted sum of the inputs around its place, the weights being a windowed sinc (band-limited
interpolation: J. O. Smith, *Digital Audio Resampling Home Page*, CCRMA, 2002), tabulated for places between
two samples.
"""

from functools import lru_cache

import numpy as np

HALF_LENGTH, KAISER_BETA, CUTOFF = 24, 6.76, 0.455
PASSED = 0.41
PLACES = 4096
MOST_OUTPUTS = 4096


def passed_hz(from_hz: float, to_hz: float) -> float:
    """Return up to where a signal brought from one rate to another is flat, in Hz: 0.41 of the lower rate."""
    return PASSED * min(from_hz, to_hz)


@lru_cache(maxsize=16)
def interpolation_table(half: int, cutoff: float) -> np.ndarray:
    """Weights of the inputs around a place, for each place between two inputs.

    Parameters
    ----------
    half
        How many inputs on each side.
    cutoff
        Middle of the filter's edge, as a share of the input's rate.

    Returns
    -------
    numpy.ndarray
        float32 of shape ``(4097, 2 * half)``: row `p` belongs to a place p / 4096 after the input in column
        ``half - 1``. Every row adds up to 1, so that a constant stays what it is.
    """
    places = np.arange(PLACES + 1)[:, None] / PLACES
    away = np.arange(2 * half)[None, :] - (half - 1) - places
    window = np.i0(KAISER_BETA * np.sqrt(np.maximum(0.0, 1 - (away / half) ** 2)))
    table = np.sinc(2 * cutoff * away) * window
    return (table / table.sum(axis=1, keepdims=True)).astype(np.float32)


class Resampler:
    """Interpolates a signal at places that follow one another steadily.

    Parameters
    ----------
    from_hz, to_hz
        Nominal rates of input and output; what lies above half of the lower one is taken out.

    Attributes
    ----------
    reach
        How many inputs on each side of a place are needed.
    """

    def __init__(self, from_hz: float, to_hz: float):
        if not (from_hz > 0 and to_hz > 0):
            raise ValueError(f"rates of {from_hz!r} and {to_hz!r} Hz are none")
        share = min(1.0, to_hz / from_hz)
        self.reach = int(np.ceil(HALF_LENGTH / share))
        self._table = interpolation_table(self.reach, CUTOFF * share)

    def at(self, inputs: np.ndarray, places: np.ndarray) -> np.ndarray:
        """Return the signal at some places.

        Parameters
        ----------
        inputs
            float32 of shape ``(channels, inputs)``.
        places
            Shape ``(outputs,)``, in inputs from the first; each at least ``reach - 1`` from the first and
            `reach` from the last input.

        Returns
        -------
        numpy.ndarray
            float32 of shape ``(channels, outputs)``.
        """
        made = np.empty((len(inputs), len(places)), dtype=np.float32)
        around = np.lib.stride_tricks.sliding_window_view(inputs, 2 * self.reach, axis=1)
        for begin in range(0, len(places), MOST_OUTPUTS):
            part = slice(begin, begin + MOST_OUTPUTS)
            # counted in steps of the table first: a place that rounds up to the next input is that input's
            steps = np.rint(places[part] * PLACES).astype(np.int64)
            first = steps // PLACES - (self.reach - 1)
            weights = self._table[steps % PLACES]
            for channel in range(len(inputs)):
                made[channel, part] = np.einsum("ij,ij->i", around[channel][first], weights)
        return made
