"""What takes long is nicer to others than the engine and the web server are."""

import contextlib
import os
import threading

NICENESS = 10


def give_way() -> None:
    """Let the calling thread yield to all others, where the system can tell threads apart."""
    with contextlib.suppress(OSError, AttributeError):
        os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), NICENESS)
