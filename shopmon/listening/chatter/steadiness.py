"""Whether what is suspected keeps itself going, or is shaken by the chips all the time.

Chatter keeps itself going: its amplitude grows, and stays where it is. A mode that only the chips shake, as
in a cut not far from its border, is noise through a narrow filter: its amplitude is Rayleigh distributed and
sways by half of its mean (0.52), whatever the level. Growth is no swaying, so a curve is taken out of it.
"""

import numpy as np

from shopmon.listening.state import Memory

SPAN_S, SPAN_WINDOWS = 0.3, 0.6  # at least, and of slow spindles
# of a span of 0.3 s; a longer one takes a narrower filter and wider steps
FILTER_S, STEP_S, THIN_S, BEAT_HZ = 0.025, 0.012, 0.001, 100.0
RANK = 1e-3
SLOWEST_HZ = 12.0  # below, too many lines lie too close for the span
# what is presumed of a line, how fast that is learned, and from where it speaks against chatter
PRESUMED, FORGET = 0.25, 0.15
STEADY, RANGE, MOST_ODDS = 0.33, 0.1, 1.8


def span_s(window_s: float) -> float:
    """Return how much sound the swaying is judged by, for a length of the analysis window."""
    return max(SPAN_S, SPAN_WINDOWS * window_s)


class Steadiness(Memory):
    """Follows how much the suspected lines sway, from bite to bite of one job.

    Attributes
    ----------
    usual
        Running mean of `swaying`.
    """

    kept = ("usual",)

    def __init__(self) -> None:
        self.clear()

    def clear(self) -> None:
        """Know nothing."""
        self.usual = PRESUMED

    def look(self, samples: np.ndarray, rate_hz: float, frequency_hz: float, rotation_hz: float) -> float:
        """Take in the newest sound; return what the swaying adds to the log-odds of chatter, 0 or less.

        Parameters
        ----------
        samples, rate_hz, frequency_hz, rotation_hz
            As given to `swaying`.
        """
        self.usual += FORGET * (swaying(samples, rate_hz, frequency_hz, rotation_hz) - self.usual)
        return -MOST_ODDS * min(max((self.usual - STEADY) / RANGE, 0.0), 1.0)


def swaying(samples: np.ndarray, rate_hz: float, frequency_hz: float, rotation_hz: float) -> float:
    """Return by how much of its mean the amplitude of a line sways, growth taken out.

    Parameters
    ----------
    samples
        The newest sound, `span_s` long, shape ``(frames,)``.
    rate_hz
        Their rate.
    frequency_hz
        The line.
    rotation_hz
        Rotation frequency; its lines nearby and the line's relatives would beat with it and are taken out.
    """
    longer = samples.size / (rate_hz * SPAN_S)
    thin_s = longer * THIN_S
    turned = samples * np.exp(-2j * np.pi * frequency_hz / rate_hz * np.arange(samples.size))
    thinned = _smoothed(turned, 2 * thin_s, thin_s, rate_hz)
    away_hz = _beating_hz(frequency_hz, rotation_hz, BEAT_HZ / longer) - frequency_hz
    waves = np.exp(2j * np.pi * thin_s * np.outer(np.arange(thinned.size), np.append(0.0, away_hz)))
    shares = np.linalg.lstsq(waves, thinned, rcond=RANK)[0]
    shares[0] = 0.0  # the line itself stays
    amplitude = np.abs(_smoothed(thinned - waves @ shares, longer * FILTER_S, longer * STEP_S, 1.0 / thin_s))
    places = np.linspace(-1.0, 1.0, amplitude.size)
    rest = amplitude - np.polyval(np.polyfit(places, amplitude, 2), places)
    return float(rest.std() / max(float(amplitude.mean()), 1e-20))


def _smoothed(values: np.ndarray, filter_s: float, step_s: float, rate_hz: float) -> np.ndarray:
    taps = np.hanning(round(filter_s * rate_hz) + 2)[1:-1]
    return np.convolve(values, taps / taps.sum(), "valid")[:: round(step_s * rate_hz)]


def _beating_hz(frequency_hz: float, rotation_hz: float, within_hz: float) -> np.ndarray:
    """Return the line's relatives and the spindle's lines that pass the filter, too."""
    reach = int(within_hz / rotation_hz) + 1
    turns = np.arange(-reach, reach + 1)
    relatives_hz = frequency_hz + rotation_hz * turns[turns != 0]
    comb_hz = rotation_hz * (np.rint(frequency_hz / rotation_hz) + turns)
    all_hz = np.concatenate((relatives_hz, comb_hz[comb_hz > 0]))
    return all_hz[np.abs(all_hz - frequency_hz) < within_hz]
