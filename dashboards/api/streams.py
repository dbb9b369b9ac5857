"""The open event streams: counted, capped and ended from one place."""

import threading

from shopmon.service.live_feed import LiveFeed, Subscription

STREAM_LIMIT = 12


class Streams:
    """Counts the event streams, because each holds one thread of the server.

    Parameters
    ----------
    limit
        Most streams at once.
    """

    def __init__(self, limit: int = STREAM_LIMIT):
        self.limit = limit
        self._lock = threading.Lock()
        self._open: dict[Subscription, str | None] = {}
        self._closed = False

    def open(self, feed: LiveFeed, owner: str | None = None, after: str | None = None) -> Subscription | None:
        """Subscribe to `feed` for `owner`; None when all places are taken or the server is closing."""
        with self._lock:
            if self._closed or len(self._open) >= self.limit:
                return None
            subscription = feed.subscribe(after)
            self._open[subscription] = owner
            return subscription

    def release(self, subscription: Subscription) -> None:
        """Give the place back; calling it twice is harmless."""
        with self._lock:
            self._open.pop(subscription, None)
        subscription.close()

    def end(self, owner: str) -> None:
        """End the streams of one owner."""
        self._end([subscription for subscription, whose in self._snapshot() if whose == owner])

    def close(self) -> None:
        """End all streams and open no more."""
        with self._lock:
            self._closed = True
        self._end([subscription for subscription, _ in self._snapshot()])

    @property
    def count(self) -> int:
        """Number of open streams."""
        with self._lock:
            return len(self._open)

    def _snapshot(self) -> list[tuple[Subscription, str | None]]:
        with self._lock:
            return list(self._open.items())

    @staticmethod
    def _end(subscriptions: list[Subscription]) -> None:
        for subscription in subscriptions:
            subscription.close()
