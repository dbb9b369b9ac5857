"""The tachometer as the engine hears it: the rotation at each hop, and what is wrong with the pulses."""

import numpy as np

from shopmon.listening.state import Memory
from shopmon.signals.block import Block
from shopmon.signals.sensors.tachometer import Turns, edge_places, turns_of

SPAN_S, LONGEST_SPAN_S = 0.4, 2.0
LEAST_PULSES = 7
SILENT_TURNS, SILENT_S = 4.0, 0.25
TWICE_WITHIN = 0.03
ODD_SHARE = 0.05
UNSTEADY_HOPS = 20
MEMORY = 0.05


class Tach(Memory):
    """Keeps the newest pulses and tells the rotation from them.

    Parameters
    ----------
    sample_rate_hz
        Of the stream.
    """

    kept = ("places", "unsteady", "twice", "missing", "doubled")

    def __init__(self, sample_rate_hz: float):
        self._rate_hz = sample_rate_hz
        self.places = np.zeros(0)
        self.unsteady = 0
        self.twice = False
        self.missing = self.doubled = 0.0

    def clear(self) -> None:
        """Forget the pulses: samples are missing."""
        self.places = np.zeros(0)

    def take(self, block: Block) -> None:
        """Take in the pulses of a block, if it has any."""
        column = block.tach_codes
        if column is not None and column.any():
            new = edge_places(column, block.first_sample)
            self.places = np.concatenate([self.places, new])

    def look(self, now: int, nominal_rpm: float | None) -> float | None:
        """Return the rotation in Hz at the hop that ends before sample `now`; None where it is not known.

        Parameters
        ----------
        now
            Pulses from here on are not heard yet.
        nominal_rpm
            What was told: twice of it, almost exactly, is two marks.
        """
        if not self.places.size:
            return None
        self.places = self.places[self.places > now - LONGEST_SPAN_S * self._rate_hz]
        known = self.places[self.places < now]
        recent = known[known > now - SPAN_S * self._rate_hz]
        if recent.size < LEAST_PULSES:
            recent = known[-LEAST_PULSES:]
        turns = turns_of(recent, self._rate_hz)
        if turns.rotation_hz is None:
            self.unsteady = self.unsteady + 1 if recent.size >= LEAST_PULSES else 0
            return None
        self.unsteady = 0
        silent_s = (now - known[-1]) / self._rate_hz
        if silent_s > max(SILENT_S, SILENT_TURNS / turns.rotation_hz):
            return None
        return self._judge(turns, recent.size, nominal_rpm)

    def _judge(self, turns: Turns, count: int, nominal_rpm: float | None) -> float:
        self.missing += MEMORY * (turns.missing / count - self.missing)
        self.doubled += MEMORY * (turns.doubled / count - self.doubled)
        rotation_hz, self.twice = turns.rotation_hz, turns.per_turn == 2
        if nominal_rpm and abs(60 * rotation_hz / nominal_rpm / 2 - 1) < TWICE_WITHIN:
            rotation_hz, self.twice = rotation_hz / 2, True
        return rotation_hz

    def remarks(self) -> tuple[tuple[str, bool], ...]:
        """Return the codes of what may be said of the pulses, each with whether it is so now."""
        return (
            ("tach-two-per-turn", self.twice),
            ("tach-missing", self.missing > ODD_SHARE),
            ("tach-doubled", self.doubled > ODD_SHARE),
            ("tach-unsteady", self.unsteady >= UNSTEADY_HOPS),
        )
