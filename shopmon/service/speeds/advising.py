"""Advice on cuts that rang: worked out beside the engine, joined to the cut's analysis when it is there.

It takes up to a second, in which the engine would hear nothing.
"""

import threading
from collections.abc import Callable, Hashable
from typing import Any

from shopmon.records.archive import Archive


class Advising:
    """Completes analyses that were kept without their advice.

    Parameters
    ----------
    archive
        Where the analyses are.
    later
        Has some work done on another thread when there is time.
    """

    def __init__(self, archive: Archive, later: Callable[[Hashable, Callable[[], Any]], None]):
        self._archive, self._later = archive, later
        self._open: dict[str, tuple[dict[str, Any], Callable[[], list]]] = {}
        self._lock = threading.Lock()

    def take(self, analysis_id: str, analysis: dict[str, Any], work: Callable[[], list]) -> None:
        """Have the advice worked out.

        Parameters
        ----------
        analysis_id, analysis
            As it is kept, its ``advice`` None.
        work
            Finds the advice.
        """
        with self._lock:
            self._open[analysis_id] = (analysis, work)
        self._later(("advice", analysis_id), lambda: self._answer(analysis_id))

    def settle(self) -> None:
        """Work out here and now what still waits: the monitor ends."""
        for analysis_id in list(self._open):
            self._answer(analysis_id)

    def _answer(self, analysis_id: str) -> None:
        with self._lock:
            analysis, work = self._open.pop(analysis_id, (None, None))
        if work is not None:
            self._archive.complete_analysis(analysis_id, {**analysis, "advice": work()})
