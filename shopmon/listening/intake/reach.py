"""What the input cannot tell: sound above the sensor's reach, and what is lost between coarse steps."""

from statistics import median

import numpy as np

from shopmon.listening.events import Notice
from shopmon.listening.intake.front import HIGHEST_SHARE, View, Window
from shopmon.listening.intake.health import notice
from shopmon.listening.intake.hops import Rates
from shopmon.listening.state import Memory
from shopmon.signals.levels import SILENCE_DB

NEEDED_HZ = 4000.0
EVERY_HOPS, FIRST_LOOK, LOOK_EVERY = 20, 3, 3
SHARE = 0.3
EDGE_DB, EDGE_BLOCKS = 18.0, 4
FEW_STEPS, STEPS_BELOW, STEPS_LOOKS = 16, 0.15, 3


class Reach(Memory):
    """Looks about once a second at the noise floor and at the steps of the samples; says each thing once.

    Parameters
    ----------
    rates
        The grid.
    """

    kept = ("hops", "looks", "floors_db", "coarse", "said")

    def __init__(self, rates: Rates):
        self._rates = rates
        self.hops = 0
        self.looks = 0
        self.floors_db = np.zeros(0)
        self.coarse = 0
        self.said: list[str] = []

    def look(self, view: View, window: Window, hop: np.ndarray) -> list[Notice]:
        """Take in one hop, `hop` of shape ``(frames, channels)``, and return what is new to say."""
        self.hops += 1
        if self.hops % EVERY_HOPS or not view.full:
            return []
        said = self._coarse_steps(view, hop)
        block = window.floor.block
        floors = view.floor_db[block // 2 : int(HIGHEST_SHARE * window.size) : block].astype(float)
        if floors.size != self.floors_db.size:
            self.floors_db, self.looks = floors, 0
        self.looks += 1
        self.floors_db = self.floors_db + max(SHARE, 1 / self.looks) * (floors - self.floors_db)
        if self.looks < FIRST_LOOK or self.looks % LOOK_EVERY or "sensor-deaf-above" in self.said:
            return said
        reach_hz = self._reach_hz(block * window.bin_hz)
        if reach_hz < NEEDED_HZ:
            said += self._say("sensor-deaf-above", view.sample, reach_hz=round(reach_hz, -2))
        return said

    def _reach_hz(self, block_hz: float) -> float:
        """Where the noise falls off an edge above which nothing is left, else the top of the band."""
        top_hz = HIGHEST_SHARE * self._rates.rate_hz
        floors = self.floors_db.tolist()
        above = np.maximum.accumulate(self.floors_db[::-1])[::-1]
        for edge in range(EDGE_BLOCKS, len(floors) - EDGE_BLOCKS):
            below = median(floors[max(0, edge - 3 * EDGE_BLOCKS) : edge])
            if below - above[edge + EDGE_BLOCKS] > EDGE_DB and below > SILENCE_DB + EDGE_DB:
                return min(top_hz, (edge + EDGE_BLOCKS) * block_hz)
        return top_hz

    def _coarse_steps(self, view: View, hop: np.ndarray) -> list[Notice]:
        """The whole sound within a few steps of the converter: faint cuts are lost in its rounding."""
        few = view.live > 0 and view.peak < STEPS_BELOW and _steps(hop) <= FEW_STEPS
        self.coarse = self.coarse + 1 if few else 0
        return self._say("level-too-coarse", view.sample) if self.coarse >= STEPS_LOOKS else []

    def _say(self, code: str, sample: int, **figures) -> list[Notice]:
        if code in self.said:
            return []
        self.said = [*self.said, code]
        return [notice(code, sample, **figures)]


def _steps(hop: np.ndarray) -> int:
    """Largest number of different values in any channel."""
    return max(np.unique(column).size for column in hop.T)
