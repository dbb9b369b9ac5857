"""Seconds in the cut per tool, from a stream of events: which tool is in the spindle, and when it cuts.

Time is counted in whole ticks (milliseconds of a control, samples of a recording), so that sums are exact
however the stream is divided.
"""

from collections.abc import Hashable
from typing import Any

from shopmon.cutting.nouns import require


class ToolTime:
    """Adds up ticks in the cut for each tool; None stands for a tool that nobody named.

    Attributes
    ----------
    ticks
        In the cut so far, by tool, up to the newest event.

    >>> time = ToolTime()
    >>> time.tool(0, 8)
    >>> time.cutting(100, True)
    >>> time.tool(160, 9)
    >>> time.cutting(200, False)
    >>> time.ticks
    {8: 60, 9: 40}
    """

    def __init__(self):
        self.ticks: dict[Hashable, int] = {}
        self._now = 0
        self._tool: Hashable = None
        self._cuts = False

    def tool(self, tick: int, tool: Hashable) -> None:
        """Hear which tool is in the spindle from `tick` on; the cut before belongs to the one before."""
        self.reach(tick)
        self._tool = tool

    def cutting(self, tick: int, cuts: bool) -> None:
        """Hear that a tooth is in metal from `tick` on, or no more."""
        self.reach(tick)
        self._cuts = cuts

    def lost(self, tick: int) -> None:
        """Hear that nothing is known from `tick` on, until told anew: what follows is credited to nobody."""
        self.reach(tick)
        self._cuts = False
        self._tool = None

    def reach(self, tick: int) -> None:
        """Count up to `tick`.

        Raises
        ------
        SettingError
            It lies before an event that was already heard.
        """
        require(tick >= self._now, f"An event at {tick} comes after one at {self._now}.", "Sort the events.")
        if self._cuts and tick > self._now:
            self.ticks[self._tool] = self.ticks.get(self._tool, 0) + tick - self._now
        self._now = tick

    def as_data(self, ticks_per_s: float) -> dict[Any, float]:
        """Return seconds by tool."""
        return {tool: ticks / ticks_per_s for tool, ticks in self.ticks.items()}
