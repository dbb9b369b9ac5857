"""The way back from a stepped speed: the comb that was left may be heard again.

A spindle that was stepped leaves its old comb for good. A neighbour that starts just when a cut ends looks
like a step, too; but the old comb stands up again as it stood.
"""

import numpy as np

from shopmon.listening.intake.front import Window
from shopmon.listening.state import Memory
from shopmon.signals.comb.fit import CombFit
from shopmon.signals.lines import LineMap

REACH, STEP = 0.012, 5e-4
AS_BEFORE, AGREED_HOPS, WATCHED_HOPS = 0.7, 6, 60


class WayBack(Memory):
    """Watches the comb that was left.

    Attributes
    ----------
    left_hz, usual_db
        Rotation before the step, None where none was left, and how well its comb used to fit.
    agreed, hops
        Hops in a row in which it was heard again, and all since it was left.
    """

    kept = ("left_hz", "usual_db", "agreed", "hops")

    def __init__(self) -> None:
        self.leave(None, 0.0)

    def leave(self, rotation_hz: float | None, usual_db: float) -> None:
        """Watch this rotation for a while, or none."""
        self.left_hz, self.usual_db = rotation_hz, usual_db
        self.agreed = self.hops = 0
        self._fit: CombFit | None = None
        self._fit_of: tuple | None = None

    def look(self, lines: LineMap, window: Window, flutes: int | None) -> float | None:
        """Return where the comb that was left is heard again; None where it is not.

        Parameters
        ----------
        lines, window
            Of the spectrum.
        flutes
            None where not known.
        """
        if self.left_hz is None:
            return None
        scores = self._aimed(window, flutes)(lines)
        best = int(scores.argmax())
        heard = float(scores[best]) > AS_BEFORE * self.usual_db
        self.agreed, self.hops = self.agreed + 1 if heard else 0, self.hops + 1
        found_hz = float(self._fit.candidates_hz[best])
        if self.hops >= WATCHED_HOPS and not heard:
            self.leave(None, 0.0)
        return found_hz if self.agreed >= AGREED_HOPS else None

    def _aimed(self, window: Window, flutes: int | None) -> CombFit:
        wanted = (self.left_hz, flutes, window.bins, window.bin_hz)
        if self._fit is None or self._fit_of != wanted:
            steps = np.arange(-round(REACH / STEP), round(REACH / STEP) + 1)
            self._fit = CombFit(self.left_hz * np.exp(STEP * steps), window.bin_hz, window.bins, flutes)
            self._fit_of = wanted
        return self._fit
