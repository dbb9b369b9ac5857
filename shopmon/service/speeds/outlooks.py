"""The outlook of every tool in use, kept until something changes.

To look through years of cuts costs a tenth of a second here and more on a small computer. It is done in the
background; a page waits for it a moment, and else shows what was known before.
"""

import logging
import threading

from shopmon.records.tools.register import Register
from shopmon.service.mills.life import Outlook, tool_lives

log = logging.getLogger(__name__)
PAGE_WAITS_S = 0.15
FIRST_WAITS_S = 2.0


class Outlooks:
    """Keeps what `tool_lives` says.

    Parameters
    ----------
    register
        Where the tools are.
    """

    def __init__(self, register: Register):
        self._register = register
        self._version: tuple | None = None
        self._known: dict[str, Outlook] = {}
        self._lock = threading.Lock()
        self._looking: threading.Thread | None = None

    def now(self) -> dict[str, Outlook]:
        """Return the outlooks by the tools' ids, as new as they could be had in a moment."""
        version = self._register.version()
        with self._lock:
            if version != self._version and self._looking is None:
                self._looking = threading.Thread(
                    target=self._look, args=(version,), name="tool-lives", daemon=True
                )
                self._looking.start()
            looking = self._looking
        if looking is not None:
            looking.join(FIRST_WAITS_S if self._version is None else PAGE_WAITS_S)
        return self._known

    def close(self) -> None:
        """Wait until nothing is being looked through any more."""
        looking = self._looking
        if looking is not None:
            looking.join()

    def _look(self, version: tuple) -> None:
        known: dict[str, Outlook] = {}
        try:
            known = tool_lives(self._register).outlooks
        except Exception:
            # the pages can do without, and nobody waits for the reason
            log.exception("The lives of the tools could not be looked through")
        with self._lock:
            self._known, self._version, self._looking = known, version, None
