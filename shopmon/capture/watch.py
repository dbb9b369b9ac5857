"""Watching a running stream: does it live, does it keep up with the clock, and how often is trouble told.

A lost device raises nothing and sets no flag. All times are passed in.
"""

from collections import deque

LATE_S = 0.25
CATCH_UP_S = 2.0
_REMEMBERED_S = 60.0


class Watchdog:
    """Tells when the callbacks have stopped.

    Only time in which the watcher itself was running counts, so that a computer that stood still does not
    take the device for lost.

    Parameters
    ----------
    limit_s
        How long there may be no callback.
    first_limit_s
        How long the first callback may take.
    """

    def __init__(self, limit_s: float, first_limit_s: float):
        self._limits_s = (first_limit_s, limit_s)
        self._callbacks = 0
        self._silent_s = 0.0
        self._looked_s: float | None = None

    def is_lost(self, now_s: float, callbacks: int) -> bool:
        """Tell whether the stream is lost; to be asked some ten times a second.

        Parameters
        ----------
        now_s
            Monotonic time.
        callbacks
            How many callbacks there were so far.
        """
        passed = 0.0 if self._looked_s is None else min(now_s - self._looked_s, 0.25)
        self._looked_s = now_s
        self._silent_s = self._silent_s + passed if callbacks == self._callbacks else 0.0
        self._callbacks = callbacks
        return self._silent_s >= self._limits_s[callbacks > 0]


class LatenessWatch:
    """Compares the frames received with the clock.

    Sound that only comes late catches up; what has not caught up after `CATCH_UP_S` is missing. Quartz clocks
    differ by a little, so only the last minute is compared.

    Parameters
    ----------
    sample_rate_hz
        Frames per second.
    """

    def __init__(self, sample_rate_hz: float):
        self._rate = sample_rate_hz
        self._lags: deque[tuple[float, float]] = deque()
        self._late_since_s: float | None = None

    def missing_s(self, at_s: float, frames: int) -> float:
        """Return how many seconds of sound are missing, 0 while all is well; each loss is told once.

        Parameters
        ----------
        at_s
            Monotonic time of the newest callback.
        frames
            Frames received until then.
        """
        lag = at_s - frames / self._rate
        self._remember(at_s, lag)
        missing = lag - self._lags[0][1]
        if missing <= LATE_S:
            self._late_since_s = None
            return 0.0
        if self._late_since_s is None:
            self._late_since_s = at_s
        if at_s - self._late_since_s < CATCH_UP_S:
            return 0.0
        self._lags.clear()
        self._late_since_s = None
        return missing

    def _remember(self, at_s: float, lag: float) -> None:
        """Keep the smallest lag of the last minute at the front (a monotonic queue)."""
        while self._lags and self._lags[-1][1] >= lag:
            self._lags.pop()
        self._lags.append((at_s, lag))
        while self._lags[0][0] < at_s - _REMEMBERED_S:
            self._lags.popleft()


class Tally:
    """Adds up trouble and releases the sum at once, then at most once in a while.

    Parameters
    ----------
    interval_s
        The while.
    """

    def __init__(self, interval_s: float = 10.0):
        self._interval_s = interval_s
        self._sum = 0
        self._released_s: float | None = None

    def add(self, amount: int) -> None:
        """Add to the sum."""
        self._sum += amount

    def release(self, now_s: float) -> int:
        """Return the sum and start from 0 again, or return 0 when there is nothing or it is too early."""
        waiting = self._released_s is not None and now_s - self._released_s < self._interval_s
        if not self._sum or waiting:
            return 0
        amount, self._sum, self._released_s = self._sum, 0, now_s
        return amount
