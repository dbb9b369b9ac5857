"""Everything one spectrum is weighed with."""

from dataclasses import dataclass

import numpy as np

from shopmon.listening.background import Background
from shopmon.listening.intake.front import View, Window
from shopmon.listening.preferences import Preferences
from shopmon.listening.rotation.comb_view import CombView

SPEED_DOUBT = 7e-4
TOLD_DOUBT = 0.02


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """One hop as the judgement of stray lines sees it.

    Attributes
    ----------
    view, window
        The spectrum.
    raised_db
        ``peaks_near`` of its heights above the floor.
    comb
        The spindle comb in it.
    background
        What was there before.
    slope
        Share by which the speed changes per hop.
    trusted
        The speed is heard, not only told.
    flutes
        None where not known.
    preferences
        What the person said of single tones.
    """

    view: View
    window: Window
    raised_db: np.ndarray
    comb: CombView
    background: Background
    slope: float
    trusted: bool
    flutes: int | None
    preferences: Preferences

    @property
    def doubt(self) -> float:
        """Share by which the rotation frequency may be wrong or moving within the window."""
        return (SPEED_DOUBT if self.trusted else TOLD_DOUBT) + 2 * abs(self.slope)

    @property
    def compared(self) -> bool:
        """The background is known on the grid of this spectrum."""
        return self.background.spectrum_db.size == self.view.spectrum_db.size
