"""Playing something at the speed of its own sample clock."""

import threading
import time
from collections.abc import Callable


class Pacer:
    """Holds a player back to real time.

    A player that was held up catches up; it loses nothing.

    Parameters
    ----------
    sample_rate_hz
        Frames per second of what is played.
    clock
        Monotonic seconds; given by tests.
    """

    def __init__(self, sample_rate_hz: float, clock: Callable[[], float] = time.monotonic):
        self._rate = sample_rate_hz
        self._clock = clock
        self._began: float | None = None

    def delay_s(self, end_sample: int) -> float:
        """Return how long to wait until the frames before `end_sample` would have sounded, never below 0."""
        if self._began is None:
            self._began = self._clock()
        return max(0.0, self._began + end_sample / self._rate - self._clock())

    def wait(self, end_sample: int, stop: threading.Event) -> bool:
        """Wait until then; return False when `stop` was set meanwhile."""
        return not stop.wait(self.delay_s(end_sample))
