"""Calls into a library that may never come back, made from threads that may be left behind."""

import threading
from collections.abc import Callable
from typing import Any


class BackgroundCall:
    """Runs a function in a daemon thread of its own.

    Parameters
    ----------
    function
        What to call.
    name
        Name of the thread.
    """

    def __init__(self, function: Callable[[], Any], name: str):
        self._function = function
        self._value: Any = None
        self._error: Exception | None = None
        self._dispose: Callable[[Any], None] | None = None
        self._lock = threading.Lock()
        self._finished = threading.Event()
        threading.Thread(target=self._run, name=name, daemon=True).start()

    @property
    def done(self) -> bool:
        """Whether the function has come back."""
        return self._finished.is_set()

    def wait(self, timeout_s: float) -> bool:
        """Wait for the function to come back; return whether it did."""
        return self._finished.wait(timeout_s)

    def result(self) -> Any:
        """Return what the function returned, or raise what it raised; only once it is done."""
        if self._error is not None:
            raise self._error
        return self._value

    def abandon(self, dispose: Callable[[Any], None]) -> None:
        """Give up waiting; whatever the function returned or will return is given to `dispose`."""
        with self._lock:
            self._dispose = dispose
            late = not self.done
        if not late and self._error is None:
            dispose(self._value)

    def _run(self) -> None:
        try:
            self._value = self._function()
        except Exception as exc:  # whatever it is belongs to the caller, who asks for the result
            self._error = exc
        with self._lock:
            self._finished.set()
            dispose = self._dispose
        if dispose and self._error is None:
            dispose(self._value)
