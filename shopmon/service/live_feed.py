"""The live feed: what the engine says now, handed to any number of viewers without ever waiting for one.

One thread publishes, each viewer's own thread takes. Publishing only appends to bounded queues under a lock
that nobody holds while waiting, so a viewer who does not take costs nothing but its own queue. What happens
when a queue is full: a spectrum is replaced by the newer one; of states and log entries the oldest goes,
never the latest state, and the loss is counted in ``Subscription.dropped``.
"""

import secrets
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

KINDS = ("state", "spectrum", "log")


@dataclass(frozen=True, eq=False)
class Message:
    """One published message; `number` counts all messages of this feed from 1."""

    number: int
    kind: str
    data: dict


class LiveFeed:
    """Messages of the kinds ``state``, ``spectrum`` and ``log`` for any number of subscribers.

    Parameters
    ----------
    queue_length
        Most states and log entries kept for a subscriber who is behind.
    log_length
        Most log entries kept for a subscriber who comes back after an interruption.
    clock
        Seconds that only go forward; tests pass their own.
    """

    def __init__(
        self, *, queue_length: int = 64, log_length: int = 256, clock: Callable[[], float] = time.monotonic
    ):
        if queue_length < 1 or log_length < 1:
            raise ValueError(f"queue lengths must be at least 1, not {queue_length!r} and {log_length!r}")
        self._lock = threading.Lock()
        self._run = secrets.token_hex(4)
        self._clock = clock
        self._published_at: dict[str, float] = {}
        self._number = 0
        self._queue_length = queue_length
        self._latest_state: Message | None = None
        self._log: deque[Message] = deque(maxlen=log_length)
        self._subscriptions: set[Subscription] = set()
        self._closed = False

    def publish(self, kind: str, data: dict) -> None:
        """Hand a message to every subscriber; never blocks.

        Parameters
        ----------
        kind
            ``"state"``, ``"spectrum"`` or ``"log"``.
        data
            Plain data that can become JSON; must not be changed afterwards.

        Raises
        ------
        ValueError
            `kind` is none of the three.
        """
        if kind not in KINDS:
            raise ValueError(f"unknown kind of message {kind!r}")
        with self._lock:
            self._number += 1
            self._published_at[kind] = self._clock()
            message = Message(self._number, kind, data)
            if kind == "state":
                self._latest_state = message
            elif kind == "log":
                self._log.append(message)
            for subscription in self._subscriptions:
                subscription._offer(message)

    def subscribe(self, after: str | None = None) -> "Subscription":
        """Begin to receive; the latest state comes first.

        Parameters
        ----------
        after
            ``last_id`` of an earlier subscription that was interrupted: the log entries published since
            then, as far as they are still kept, come as well. An id of another run of the program brings
            all that are kept.
        """
        with self._lock:
            subscription = Subscription(self, self._run, self._queue_length)
            subscription._begin(self._missed(after), self._latest_state)
            if self._closed:
                subscription._end()
            else:
                self._subscriptions.add(subscription)
            return subscription

    def close(self) -> None:
        """End every subscription and refuse new ones; calling it twice is harmless."""
        with self._lock:
            self._closed = True
            for subscription in self._subscriptions:
                subscription._end()
            self._subscriptions.clear()

    def age_s(self, kind: str) -> float | None:
        """Return the seconds since the last message of this kind, None before the first."""
        published_at = self._published_at.get(kind)
        return None if published_at is None else self._clock() - published_at

    @property
    def subscribers(self) -> int:
        """Number of open subscriptions."""
        with self._lock:
            return len(self._subscriptions)

    def _missed(self, after: str | None) -> list[Message]:
        if not after:
            return []
        run, _, number = after.partition(".")
        if run != self._run or not number.isdecimal():
            return list(self._log)
        return [message for message in self._log if message.number > int(number)]

    def _remove(self, subscription: "Subscription") -> None:
        with self._lock:
            self._subscriptions.discard(subscription)
            subscription._end()


class Subscription:
    """One viewer's view of the feed; made by `LiveFeed.subscribe`, also a context manager.

    Attributes
    ----------
    dropped
        Number of states and log entries this viewer was too slow for.
    closed
        The feed or the viewer has ended it; nothing more will come.
    """

    def __init__(self, feed: LiveFeed, run: str, queue_length: int):
        self._feed = feed
        self._run = run
        self._ready = threading.Condition(feed._lock)
        self._ordered: deque[Message] = deque()
        self._queue_length = queue_length
        self._spectrum: Message | None = None
        self._last_number = 0
        self.dropped = 0
        self.closed = False

    def next(self, timeout_s: float | None = None) -> tuple[str, dict] | None:
        """Wait for the next message and take it.

        Parameters
        ----------
        timeout_s
            Longest wait in seconds; None waits for ever.

        Returns
        -------
        tuple or None
            ``(kind, data)``; None when nothing came in time or the subscription is closed.
        """
        with self._ready:
            self._ready.wait_for(self._has_news, timeout_s)
            message = None if self.closed else self._take()
            if message is None:
                return None
            self._last_number = max(self._last_number, message.number)
            return message.kind, message.data

    @property
    def last_id(self) -> str:
        """Identify the place reached, for `LiveFeed.subscribe` after an interruption."""
        return f"{self._run}.{self._last_number}"

    def close(self) -> None:
        """Stop receiving and wake whoever waits in `next`; calling it twice is harmless."""
        self._feed._remove(self)

    def __enter__(self) -> "Subscription":
        return self

    def __exit__(self, *_) -> None:
        self.close()

    # Called with the feed's lock held.

    def _begin(self, missed: list[Message], latest_state: Message | None) -> None:
        first = missed + ([latest_state] if latest_state else [])
        self._ordered.extend(sorted(first, key=lambda message: message.number))

    def _offer(self, message: Message) -> None:
        if message.kind == "spectrum":
            self._spectrum = message
        else:
            if len(self._ordered) >= self._queue_length:
                self._drop_one(message)
            self._ordered.append(message)
        self._ready.notify()

    def _drop_one(self, incoming: Message) -> None:
        """Make room: the oldest goes, unless it is the only state and no newer one is coming."""
        self.dropped += 1
        spare = self._ordered.popleft()
        latest_state = self._feed._latest_state
        if spare is latest_state and incoming.kind != "state" and self._ordered:
            self._ordered.popleft()
            self._ordered.appendleft(spare)

    def _take(self) -> Message | None:
        if self._ordered:
            return self._ordered.popleft()
        message, self._spectrum = self._spectrum, None
        return message

    def _has_news(self) -> bool:
        return self.closed or bool(self._ordered) or self._spectrum is not None

    def _end(self) -> None:
        self.closed = True
        self._ordered.clear()
        self._spectrum = None
        self._ready.notify_all()
