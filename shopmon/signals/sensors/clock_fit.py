"""How fast the clock of a source runs, from when its samples arrived.

A block arrives late, sometimes very late, and never early. So of each second only the arrival with the least
lag counts, and a straight line through those of the last minutes is the source's clock.
"""

from collections import deque
from dataclasses import dataclass

import numpy as np

STEP_S, REMEMBERED = 1.0, 180
LEAST = 5
SETTLED_S = 20.0


@dataclass(frozen=True)
class Line:
    """A clock as it was known at one moment; times are seconds of the common clock."""

    sample_rate_hz: float
    slope: float = 0.0
    lag_s: float = 0.0
    about_s: float = 0.0

    def time_of(self, sample: float) -> float:
        """When a sample was taken; a steady delay of the source is not seen."""
        made_s = sample / self.sample_rate_hz
        return made_s + self.lag_s + self.slope * (made_s - self.about_s)

    def sample_at(self, at_s: float) -> float:
        """Which sample was taken at a time; the reverse of `time_of`."""
        made_s = (at_s - self.lag_s + self.slope * self.about_s) / (1 + self.slope)
        return made_s * self.sample_rate_hz


class ClockFit:
    """Follows one stream; times are seconds of one common clock.

    Parameters
    ----------
    sample_rate_hz
        As the source says it.

    Attributes
    ----------
    line
        The clock as it is known now.
    """

    def __init__(self, sample_rate_hz: float):
        self.sample_rate_hz = sample_rate_hz
        self._least: deque[tuple[float, float]] = deque(maxlen=REMEMBERED)
        self._bin: int | None = None
        self.line = Line(sample_rate_hz)

    def add(self, at_s: float, end_sample: int) -> None:
        """Take in that the samples before `end_sample` were there at `at_s`."""
        made_s = end_sample / self.sample_rate_hz
        lag_s = at_s - made_s
        bin_ = int(made_s / STEP_S)
        if bin_ != self._bin or not self._least:
            self._bin = bin_
            self._least.append((made_s, lag_s))
        elif lag_s < self._least[-1][1]:
            self._least[-1] = (made_s, lag_s)
        else:
            return
        self._fit()

    def _fit(self) -> None:
        made, lag = np.array(self._least).T
        if made.size < LEAST:
            # too short for a slope: quartz clocks differ by too little to matter yet
            self.line = Line(self.sample_rate_hz, 0.0, float(lag.min()))
            return
        about_s = float(made.mean())
        lag_s, slope = np.polynomial.polynomial.polyfit(made - about_s, lag, 1)
        self.line = Line(self.sample_rate_hz, float(slope), float(lag_s), about_s)

    @property
    def known_s(self) -> float:
        """Over how many seconds the clock has been followed."""
        return self._least[-1][0] - self._least[0][0] if self._least else 0.0

    @property
    def slow_ppm(self) -> float | None:
        """By how much this clock is slower than the common one, None before it has settled."""
        return 1e6 * self.line.slope if self.known_s >= SETTLED_S else None
