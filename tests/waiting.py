"""Waiting for what another thread does, without a guess how long it takes."""

import time
from collections.abc import Callable

LONGEST_S = 20.0


def until(is_so: Callable[[], object], what: str = "") -> None:
    """Return when `is_so` is true; fail when that takes far longer than it ever should."""
    deadline = time.monotonic() + LONGEST_S
    while not is_so():
        assert time.monotonic() < deadline, f"waited in vain {what}"
        time.sleep(0.005)
