"""One slow lane for what takes seconds to compute, beside the engine and the web server and behind both.

A question is asked by its key and answered at once with what is known: the answer, or that it is being
thought about. The thread yields to the engine (it is nicer to others, and numpy leaves the interpreter free
while it computes).
"""

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any

from shopmon.errors import ShopmonError
from shopmon.service.giving_way import give_way

log = logging.getLogger(__name__)


class Failed:
    """An answer that could not be found, with what to tell the person."""

    def __init__(self, error: ShopmonError):
        self.text, self.hint = error.text, error.hint


class Thinker:
    """A thread that works off questions, the urgent ones first, and remembers the answers.

    Parameters
    ----------
    waiting
        Most questions that wait; beyond them the oldest is forgotten, and asked again by who still wants it.
    remembered
        Most answers kept; the one unused for longest goes.
    """

    def __init__(self, *, waiting: int = 16, remembered: int = 64):
        self._most_waiting, self._most_remembered = waiting, remembered
        self._waiting: OrderedDict[Hashable, Callable[[], Any]] = OrderedDict()
        self._answers: OrderedDict[Hashable, Any] = OrderedDict()
        self._now: Hashable | None = None
        self._changed = threading.Condition()
        self._closing = False
        self._thread: threading.Thread | None = None

    def ask(self, key: Hashable, work: Callable[[], Any], *, urgent: bool = False) -> Any:
        """Return the answer to a question, or None while it is being thought about.

        Parameters
        ----------
        key
            Everything the answer depends on; the same key gives the same answer.
        work
            Finds it, on the thinking thread; must not return None.
        urgent
            Before whatever else waits.
        """
        with self._changed:
            if key in self._answers:
                self._answers.move_to_end(key)
                return self._answers[key]
            if not self._closing and key != self._now:
                self._enqueue(key, work, urgent)
            return None

    def do(self, key: Hashable, work: Callable[[], Any]) -> None:
        """Have something done, unless the same already waits; nothing is remembered of it."""
        with self._changed:
            if not self._closing:
                self._enqueue(("do", key), work, False)

    def wait(self, timeout_s: float = 60.0) -> bool:
        """Return True once nothing waits or is worked on any more."""
        with self._changed:
            return self._changed.wait_for(lambda: not self._waiting and self._now is None, timeout_s)

    @property
    def busy(self) -> bool:
        """Whether something is being thought about."""
        return self._now is not None or bool(self._waiting)

    def close(self, timeout_s: float = 10.0) -> None:
        """Forget what waits and end the thread; calling it twice is harmless."""
        with self._changed:
            self._closing = True
            self._waiting.clear()
            self._changed.notify_all()
        if self._thread is not None:
            self._thread.join(timeout_s)

    def _enqueue(self, key: Hashable, work: Callable[[], Any], urgent: bool) -> None:
        self._waiting.setdefault(key, work)
        if urgent:
            self._waiting.move_to_end(key, last=False)
        while len(self._waiting) > self._most_waiting:
            answers = [name for name in self._waiting if not _is_task(name)]
            self._waiting.pop(answers[0] if answers else next(iter(self._waiting)))
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="thinker", daemon=True)
            self._thread.start()
        self._changed.notify_all()

    def _run(self) -> None:
        give_way()
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._waiting or self._closing)
                if self._closing:
                    return
                key, work = self._waiting.popitem(last=False)
                self._now = key
            answer = _tried(work)
            with self._changed:
                self._now = None
                if not _is_task(key):
                    self._answers[key] = answer
                    while len(self._answers) > self._most_remembered:
                        self._answers.popitem(last=False)
                self._changed.notify_all()


def _is_task(key: Hashable) -> bool:
    return isinstance(key, tuple) and key[:1] == ("do",)


def _tried(work: Callable[[], Any]) -> Any:
    try:
        return work()
    except ShopmonError as exc:
        return Failed(exc)
    except Exception:
        # the listening must go on whatever happens here
        log.exception("Something could not be thought through")
        return Failed(ShopmonError("This could not be computed.", "The program's messages say more."))
