"""Everything one spectrum is weighed with."""

from dataclasses import dataclass

import numpy as np

from shopmon.listening.background import Background
from shopmon.listening.intake.front import View, Window
from shopmon.listening.preferences import Preferences
from shopmon.listening.rotation.comb_view import CombView

SPEED_DOUBT = 7e-4
TOLD_DOUBT = 0.02
DROOP_DOUBT, DROOP_WINDOWS = 4e-3, 1.25


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
    since_change_s
        Since when a tooth has, or may have, been in metal, or in none: the window hears late how that slows
        the spindle, or lets it go.
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
    since_change_s: float

    @property
    def doubt(self) -> float:
        """Share by which the rotation frequency may be wrong or moving within the window."""
        droop = max(1.0 - self.since_change_s / (DROOP_WINDOWS * self.window.duration_s), 0.0)
        known = SPEED_DOUBT + DROOP_DOUBT * droop if self.trusted else TOLD_DOUBT
        return known + 2 * abs(self.slope)

    @property
    def compared(self) -> bool:
        """The background is known on the grid of this spectrum."""
        return self.background.spectrum_db.size == self.view.spectrum_db.size
