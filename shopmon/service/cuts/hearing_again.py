"""Stored cuts heard again: with today's settings, or with what a person is about to say of a tone.

The original verdict is never touched: what is to be kept becomes a further analysis beside it.
"""

import hashlib
import json
import logging
import threading
import uuid
from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Literal, Protocol

from shopmon import __version__
from shopmon.errors import SettingError, ShopmonError
from shopmon.listening.preferences import Preferences, preferences_as_data
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.service.giving_way import give_way
from shopmon.service.inspection import inspect_recording

MOST_CUTS = 10_000
JOBS_KEPT = 8
NEAR_S = 1.0  # a cut heard again may begin or end a little elsewhere
SAME_CHATTER_S, SAME_CHATTER_SHARE = 0.3, 0.2  # less than that more or less is the same verdict
log = logging.getLogger(__name__)


class Log(Protocol):
    """Where cuts and their sound are found: an archive."""

    def cut(self, cut_id: str) -> dict[str, Any] | None:
        """Return one cut."""

    def audio_path(self, cut_id: str) -> Path | None:
        """Return the file with its sound."""

    def add_analysis(self, cut_id: str, analysis: dict, engine_version: str, settings_hash: str) -> str:
        """Keep a further analysis beside the original."""


@dataclass
class Job:
    """Some cuts on their way through the listener; read from any thread, written by its own."""

    id: str
    cut_ids: tuple[str, ...]
    preferences: Preferences
    keep: bool
    status: Literal["running", "done", "stopped"] = "running"
    share: float = 0.0
    rows: list[dict[str, Any]] = field(default_factory=list)

    def as_data(self) -> dict[str, Any]:
        """Return ``shopmon.heard-again/1``."""
        return {
            "schema": "shopmon.heard-again/1",
            "id": self.id,
            "status": self.status,
            "share": round(self.share, 3),
            "cuts": len(self.cut_ids),
            "kept": self.keep,
            "rows": list(self.rows),
            "changed": sum(row["changed"] for row in self.rows),
            "without_sound": sum(row["after"] is None for row in self.rows),
        }


class _Stopped(Exception):
    pass


class HearingAgain:
    """Hears cuts again, one after the other, on a thread that yields to the engine.

    Parameters
    ----------
    log
        Where cuts and their sound are found.
    settings
        Of the listener today.
    """

    def __init__(self, log: Log, settings: ListenerSettings):
        self._log, self._settings = log, settings
        self._jobs: OrderedDict[str, Job] = OrderedDict()
        self._waiting: list[Job] = []
        self._changed = threading.Condition()
        self._closing = False
        self._thread: threading.Thread | None = None

    def begin(self, cut_ids: Iterable[str], preferences: Preferences, *, keep: bool) -> dict[str, Any]:
        """Begin to hear cuts again; return the job as `job` does.

        Parameters
        ----------
        cut_ids
            In this order.
        preferences
            What the person wants of the listener, or is about to want.
        keep
            Whether the results become analyses of the cuts.

        Raises
        ------
        SettingError
            No cut, or too many.
        """
        chosen = tuple(dict.fromkeys(cut_ids))
        if not 1 <= len(chosen) <= MOST_CUTS:
            raise SettingError(f"{len(chosen)} cuts cannot be heard again.", f"Choose 1 to {MOST_CUTS}.")
        job = Job(str(uuid.uuid4()), chosen, preferences, keep)
        with self._changed:
            for other in self._jobs.values():  # what was only tried is out of date now
                if not other.keep and other.status == "running":
                    other.status = "stopped"
            self._jobs[job.id] = job
            while len(self._jobs) > JOBS_KEPT:
                gone = next((one for one in self._jobs.values() if one.status != "running"), None)
                if gone is None:
                    break
                del self._jobs[gone.id]
            self._waiting.append(job)
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="hearing-again", daemon=True)
                self._thread.start()
            self._changed.notify_all()
        return job.as_data()

    def job(self, job_id: str) -> dict[str, Any] | None:
        """Return how far a job is and what it found; None when it is not known (any more)."""
        job = self._jobs.get(job_id)
        return job.as_data() if job else None

    def stop(self, job_id: str) -> None:
        """Stop a job; what it kept so far stays."""
        job = self._jobs.get(job_id)
        if job is not None and job.status == "running":
            job.status = "stopped"

    def close(self, timeout_s: float = 10.0) -> None:
        """Stop everything; calling it twice is harmless."""
        with self._changed:
            self._closing = True
            for job in self._jobs.values():
                self.stop(job.id)
            self._changed.notify_all()
        if self._thread is not None:
            self._thread.join(timeout_s)

    def _run(self) -> None:
        give_way()
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._waiting or self._closing)
                if self._closing:
                    return
                job = self._waiting.pop(0)
            try:
                self._work(job)
            except _Stopped:
                continue
            except Exception:
                # the listening must go on whatever happens here
                log.exception("Cuts could not be heard again")
                job.status = "stopped"

    def _work(self, job: Job) -> None:
        heard: dict[Path, dict | ShopmonError] = {}
        for number, cut_id in enumerate(job.cut_ids):

            def progress(share: float, number: int = number) -> None:
                if job.status != "running":
                    raise _Stopped
                job.share = (number + share) / len(job.cut_ids)

            progress(0.0)
            cut = self._log.cut(cut_id)
            if cut is not None:
                job.rows.append(self._again(job, cut, heard, progress))
        job.share, job.status = 1.0, "done"

    def _again(self, job: Job, cut: dict[str, Any], heard: dict, progress: Callable) -> dict[str, Any]:
        row = {"cut_id": cut["id"], "started_at": cut["started_at"], "before": _before(cut)}
        path = self._log.audio_path(cut["id"])
        if path is None:
            return {**row, "after": None, "changed": False, "why": "Its sound is not there (any more)."}
        if path not in heard:
            heard.clear()  # cuts in one recording follow one another
            heard[path] = self._hear(path, job.preferences, progress)
        result = heard[path]
        if isinstance(result, ShopmonError):
            return {**row, "after": None, "changed": False, "why": f"{result} {result.hint}".strip()}
        found = within(result, cut["start_s"], cut["end_s"])
        after = _summary(found["chatter"], found["cut_time_s"])
        if job.keep:
            identity = {**asdict(self._settings), "preferences": preferences_as_data(job.preferences)}
            mark = hashlib.sha256(json.dumps(identity, sort_keys=True).encode()).hexdigest()
            self._log.add_analysis(cut["id"], found, __version__, mark)
        return {**row, "after": after, "changed": differs(row["before"], after), "why": ""}

    def _hear(self, path: Path, preferences: Preferences, progress: Callable) -> dict | ShopmonError:
        try:
            return inspect_recording(
                path, setup=Setup(), settings=self._settings, preferences=preferences, progress=progress
            )
        except ShopmonError as exc:
            return exc


def within(result: dict[str, Any], start_s: float, end_s: float) -> dict[str, Any]:
    """Return the part of an inspection that belongs to one cut of the recording.

    Parameters
    ----------
    result
        ``shopmon.inspection/1``.
    start_s, end_s
        Of the cut, seconds from the first sample.
    """
    low, high = start_s - NEAR_S, end_s + NEAR_S
    cuts = [cut for cut in result["cuts"] if cut["start_s"] < high and cut["end_s"] > low]
    return {
        **result,
        "cuts": cuts,
        "cut_time_s": round(sum(cut["cut_time_s"] for cut in cuts), 3),
        "chatter": [span for span in result["chatter"] if span["start_s"] < high and span["end_s"] > low],
        "stray": [tone for tone in result["stray"] if tone["start_s"] < high and tone["end_s"] > low],
    }


def differs(before: dict[str, Any], after: dict[str, Any]) -> bool:
    """Tell whether two verdicts on a cut differ in more than a trifle of time."""
    one, other = before["chatter_s"], after["chatter_s"]
    if (one > 0) != (other > 0):
        return True
    return abs(one - other) > max(SAME_CHATTER_S, SAME_CHATTER_SHARE * max(one, other))


def _before(cut: dict[str, Any]) -> dict[str, Any]:
    return _summary(cut["chatter"], cut["cut_time_s"])


def _summary(chatter: list[dict[str, Any]], cut_time_s: float) -> dict[str, Any]:
    loudest = max(chatter, key=lambda span: span.get("level_db") or -1e9, default={})
    length_s = sum((span.get("end_s") or 0) - (span.get("start_s") or 0) for span in chatter)
    hz = loudest.get("frequency_hz")
    return {
        "cut_time_s": round(cut_time_s, 2),
        "chatter_s": round(length_s, 2),
        "events": len(chatter),
        "frequency_hz": None if hz is None else round(hz, 1),
    }
