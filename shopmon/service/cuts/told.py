"""One cut told: its original analysis as ``shopmon.inspection/1``, and the shape in which pages see it."""

import hashlib
import json
from collections import deque
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from shopmon import __version__
from shopmon.capture.source import SourceFormat
from shopmon.listening.counsel import CutFacts
from shopmon.listening.events import CutSpan, CutStarted, Event, Frame
from shopmon.listening.report import Inspection
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.signals.block import Block

REMEMBERED = 200  # events, about ten seconds of frames: more than a cut's start is ever dated back
# of a chatter that an older version kept without them
UNKNOWN_SPAN = {"frequency_hz": None, "level_db": None, "severity": "unknown"}


class CutReports:
    """Builds the analysis of each cut from the events of the stream as they come.

    Parameters
    ----------
    settings
        Of the listener; with the engine's version they identify an analysis.
    setup
        Tells what is known of tool and speed now.
    facts
        Tells how the cut is taken, and the limits of machine and tool.
    """

    engine_version = __version__

    def __init__(
        self,
        settings: ListenerSettings,
        setup: Callable[[], Setup],
        facts: Callable[[], CutFacts] = CutFacts,
    ):
        self.settings = asdict(settings)
        self.settings_hash = hashlib.sha256(json.dumps(self.settings, sort_keys=True).encode()).hexdigest()
        self._setup, self._facts = setup, facts
        self._form: SourceFormat | None = None
        self._recent: deque[Event] = deque(maxlen=REMEMBERED)
        self._report: Inspection | None = None
        self._heard = self._clipped = self._gaps = 0

    def stream_started(self, form: SourceFormat) -> None:
        """Forget the stream before."""
        self._form = form
        self._recent.clear()
        self._report = None

    def block(self, block: Block) -> None:
        """Count what was wrong with the samples of the open cut."""
        self._heard += block.codes.size
        self._clipped += block.quality.clipped
        self._gaps += bool(block.quality.gap)

    def take(self, event: Event) -> None:
        """Take one event, in order."""
        if isinstance(event, CutStarted):
            self._begin(event.cut)
        self._recent.append(event)
        if self._report:
            self._report.add(event)

    def _begin(self, cut: CutSpan) -> None:
        self._heard = self._clipped = self._gaps = 0
        self._report = Inspection(
            sample_rate_hz=self._form.sample_rate_hz,
            channels=len(self._form.channels),
            setup=self._setup(),
            start="sidecar",
            first_sample=cut.start_sample,
            facts=self._facts(),
        )
        for event in self._recent:
            if isinstance(event, Frame) and event.sample > cut.start_sample:
                self._report.add(event)

    def of_cut(self, cut: CutSpan) -> tuple[dict[str, Any], Callable[[], list[dict]] | None]:
        """Return the analysis of the cut that has just ended, and what works out the advice on it.

        Returns
        -------
        analysis
            ``shopmon.inspection/1``; times count from its ``first_sample``. ``advice`` is None while it is to
            be worked out.
        work
            None where nothing rang.
        """
        quality = {"clipped_fraction": self._clipped / max(1, self._heard), "gaps": self._gaps}
        report, self._report = self._report, None
        found = report.findings(end_sample=cut.end_sample, quality=quality)
        found["first_sample"] = cut.start_sample
        if found["chatter"]:
            return found, report.counselling(found)
        return {**found, "advice": []}, None


def cut_for_pages(row: dict[str, Any], events: list[dict] | None = None) -> dict[str, Any]:
    """Return a cut as ``GET /api/cuts/ID`` gives it.

    Parameters
    ----------
    row
        From `Archive.cut` or `Archive.cuts`.
    events
        From `Archive.events`, in order.
    """
    analysis = row.get("analysis") or {}
    hidden = {"analysis", "has_audio", "stream_id", "recording_id", "recording_first_sample"}
    return {
        **{key: value for key, value in row.items() if key not in hidden},
        "chatter": [{**UNKNOWN_SPAN, **span} for span in row["chatter"]],
        "rpm": (analysis.get("spindle") or {}).get("rpm"),
        "state": "chatter" if row["chatter"] else "cutting",
        "unsure": bool(analysis.get("unsure")),
        "advice": analysis.get("advice") or [],
        "advice_waits": "advice" in analysis and analysis["advice"] is None,
        "notices": analysis.get("notices", []),
        "stray": analysis.get("stray", []),
        "quality": analysis.get("quality"),
        "audio": f"/api/cuts/{row['id']}/audio" if row["has_audio"] else None,
        "features": f"/api/cuts/{row['id']}/features",
        "marks": [mark_for_pages(mark) for mark in row.get("marks", [])],
        "events": [log_entry(event) for event in events or []],
    }


def kept_for_pages(row: dict[str, Any]) -> dict[str, Any]:
    """Return a stretch that was kept by hand as ``GET /api/kept`` gives it."""
    shown = ("id", "started_at", "duration_s", "note", "audio_pending", "audio_removed")
    return {
        **{name: row[name] for name in shown},
        "audio": f"/api/kept/{row['id']}/audio" if row["filed"] else None,
        "marks": [mark_for_pages(mark) for mark in row["marks"]],
    }


def mark_for_pages(row: dict[str, Any]) -> dict[str, Any]:
    """Return a marked moment; ``t_s`` counts from the start of the audio it was looked up in, if any."""
    return {"id": row["id"], "t": row["t"], "t_s": row.get("t_s"), "note": row["note"]}


def log_entry(event: dict[str, Any]) -> dict[str, Any]:
    """Return a stored event as the log shows it."""
    data = event["data"] or {}
    return {
        "id": event["id"],
        "t": event.get("t"),
        "clock_set": event.get("t") is not None,
        "kind": event["kind"],
        "text": data.get("text", ""),
        "hint": data.get("hint", ""),
        "cut_id": event["cut_id"],
    }
