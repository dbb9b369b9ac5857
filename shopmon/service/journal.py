"""Turns what the engine says into rows for the archive, lines for the log and messages for the screens.

Every id is made here, before the database and the live feed part ways, so that both speak of the same thing.
"""

import threading
import time
import uuid
from collections import deque
from collections.abc import Callable
from typing import Any

from shopmon.capture.source import SourceFormat, SourceNotice
from shopmon.listening.events import (
    ChatterEnded,
    ChatterSpan,
    ChatterStarted,
    CutEnded,
    CutSpan,
    CutStarted,
    Event,
    Frame,
    Notice,
)
from shopmon.records.archive import Archive, FeatureRow, StreamInfo
from shopmon.service.cuts.beside import OtherStreams
from shopmon.service.cuts.told import CutReports
from shopmon.service.live_feed import LiveFeed
from shopmon.service.live_state import LiveState, spectrum_message
from shopmon.service.programs.desk import ProgramDesk
from shopmon.signals.block import Block

SPECTRUM_EVERY_S = 0.1
STATE_EVERY_S = 0.5
CHECKPOINT_EVERY_S = 1.0
LOG_LENGTH = 200
NOTICE_AGAIN_S = 60.0


def new_id() -> str:
    """Return a fresh random row id."""
    return str(uuid.uuid4())


class Log:
    """The last events, for the pages; kept in memory, while the archive keeps them for good.

    Parameters
    ----------
    wall_offset_s
        Tells what to add to the monotonic time to get wall time; None while no trusted clock was seen.
        Entries of before are dated by it, too.
    """

    def __init__(self, wall_offset_s: Callable[[], float | None]):
        self._entries: deque[tuple[float, dict]] = deque(maxlen=LOG_LENGTH)
        self._wall_offset_s = wall_offset_s
        self._lock = threading.Lock()

    def add(
        self, kind: str, text: str, hint: str = "", cut_id: str | None = None, entry_id: str | None = None
    ) -> dict:
        """Add an entry and return it."""
        entry = {
            "id": entry_id or new_id(),
            "kind": kind,
            "text": text,
            "hint": hint,
            "cut_id": cut_id,
        }
        now_s = time.monotonic()
        with self._lock:
            self._entries.append((now_s, entry))
        return self._dated(now_s, entry)

    def newest(self, limit: int) -> list[dict]:
        """Return the newest entries, newest first."""
        with self._lock:
            newest = list(self._entries)[::-1][:limit]
        return [self._dated(*each) for each in newest]

    def _dated(self, monotonic_s: float, entry: dict) -> dict:
        offset_s = self._wall_offset_s()
        known = offset_s is not None
        return {**entry, "t": round(monotonic_s + offset_s, 3) if known else None, "clock_set": known}


class Journal:
    """The sink of the engine. All methods but the readers are called from the engine's thread."""

    def __init__(
        self,
        archive: Archive,
        feed: LiveFeed,
        log: Log,
        reports: CutReports,
        whole_state: Callable[[], dict],
        context: Callable[[], dict],
        advise: Callable[[str, dict, Callable[[], list]], None],
        cut_logged: Callable[[], None] = lambda: None,
        programs: ProgramDesk | None = None,
        also: tuple[Callable[[Block], None], ...] = (),
        others: OtherStreams | None = None,
    ):
        self.live = LiveState()
        self.position: tuple[str, int, float] | None = None
        self._archive = archive
        self._feed = feed
        self._log = log
        self._reports = reports
        self._whole_state = whole_state
        self._context = context
        self._advise, self._cut_logged = advise, cut_logged
        self._programs, self._also, self._others = programs, also, others
        self._rate_hz = 1.0
        self._due = {"spectrum": 0.0, "state": 0.0, "checkpoint": 0.0}
        self._cut_chatter: list[ChatterSpan] = []
        self._noticed: dict[str, float] = {}

    def stream_started(self, stream_id: str, form: SourceFormat) -> None:
        """Open the stream in the archive and show that there is sound."""
        self._rate_hz = form.sample_rate_hz
        self._due = dict.fromkeys(self._due, 0.0)
        self._noticed = {}
        self._archive.start_stream(
            StreamInfo(
                source_id=form.source_id,
                stream_id=stream_id,
                name=form.name,
                sample_rate_hz=form.sample_rate_hz,
                channels=len(form.channels),
                code_format=form.code_format,
                settings=self._reports.settings,
                of=form.channels,
            )
        )
        self.live.stream_started(form)
        if self._programs:
            self._programs.stream_started(form.sample_rate_hz)
        self._reports.stream_started(form)
        self._publish_state()

    def stream_ended(self, stream_id: str, sample: int) -> None:
        """Close the stream; nothing is heard any more."""
        self._archive.end_stream(stream_id)
        self.position = None
        self.live.meter.present = False
        self.live.frame = None
        self._publish_state()

    def block(self, block: Block) -> None:
        """Hand the samples to the recorder."""
        self._archive.append(block)
        own = block.own()
        self._reports.block(own)
        self.live.meter.take(own)
        for take in self._also:
            take(own)
        self.position = (block.stream_id, block.end_sample, block.sample_rate_hz)

    def beside(self, block: Block) -> None:
        """Keep what another source delivers, as it came."""
        if self._others:
            self._others.block(block)

    def snapshot(self, stream_id: str, sample: int, state: dict) -> None:
        """Keep the listener's state as a starting point of later recordings."""
        self._archive.snapshot(stream_id, sample, state, self._context())

    def source_notice(self, notice: SourceNotice) -> None:
        """Show and log what happened to the device."""
        if self.live.source_notice(notice):
            self._write("source", notice.text, notice.hint, {"code": notice.code})
        self._publish_state()

    def event(self, stream_id: str, event: Event) -> None:
        """Take one event of the listener."""
        self._reports.take(event)
        if isinstance(event, Frame):
            self._frame(stream_id, event)
        elif isinstance(event, CutStarted):
            self._cut_started(stream_id, event)
        elif isinstance(event, CutEnded):
            self._cut_ended(stream_id, event)
        elif isinstance(event, ChatterStarted):
            self._chatter_started(stream_id, event)
        elif isinstance(event, ChatterEnded):
            self._chatter_ended(stream_id, event)
        elif isinstance(event, Notice):
            self._notice(stream_id, event)

    def _frame(self, stream_id: str, frame: Frame) -> None:
        changed = self.live.take_frame(frame)
        if self._programs:
            self._programs.frame(frame)
        now_s = frame.sample / self._rate_hz
        self._archive.append_features(
            stream_id,
            FeatureRow(
                end_sample=frame.sample,
                rpm=frame.rpm,
                level_db=frame.level_db,
                comb_db=frame.comb_db,
                stray_db=frame.stray_db,
                state=str(frame.state),
                engaged=frame.engaged,
            ),
        )
        if self._is_due("spectrum", now_s, SPECTRUM_EVERY_S):
            self._feed.publish("spectrum", spectrum_message(frame, self._rate_hz, self._context()))
        if changed or self._is_due("state", now_s, STATE_EVERY_S):
            self._publish_state()
        if frame.cut and self.live.cut_id and self._is_due("checkpoint", now_s, CHECKPOINT_EVERY_S):
            self._archive.update_cut(
                self.live.cut_id, frame.cut.end_sample, frame.cut.engaged, self._chatter_rows(frame.chatter)
            )

    def _cut_started(self, stream_id: str, event: CutStarted) -> None:
        self.live.cut_id = new_id()
        self._cut_chatter = []
        self._archive.start_cut(self.live.cut_id, stream_id, event.cut.start_sample, self._context())
        if self._others:
            self._others.cut_started(self.live.cut_id, event.cut.start_sample)
        self._write("cut-started", "A cut has begun.", "", {}, stream_id, event.sample, self.live.cut_id)

    def _cut_ended(self, stream_id: str, event: CutEnded) -> None:
        cut_id, cut = self.live.cut_id, event.cut
        analysis, work = self._reports.of_cut(cut)
        analysis_id = self._archive.end_cut(
            cut_id,
            cut.end_sample,
            cut.engaged,
            self._chatter_rows(),
            analysis,
            self._reports.engine_version,
            self._reports.settings_hash,
        )
        if self._others:
            self._others.cut_ended(cut_id, cut.end_sample)
        if work is not None:
            self._advise(analysis_id, analysis, work)
        self._cut_logged()
        if self._programs:
            self._programs.cut_ended(cut_id, cut.engaged)
        self._write("cut-ended", self._cut_text(cut), "", {}, stream_id, event.sample, cut_id)
        self.live.cut_id = None
        self._publish_state()

    def _cut_text(self, cut: CutSpan) -> str:
        ringing = sum(span.end_sample - span.start_sample for span in self._cut_chatter) / self._rate_hz
        text = f"A cut has ended: {cut.cut_samples / self._rate_hz:.1f} s in the cut"
        return f"{text}, {ringing:.1f} s of it in chatter." if self._cut_chatter else f"{text}, quiet."

    def _chatter_started(self, stream_id: str, event: ChatterStarted) -> None:
        self.live.chatter_id = new_id()
        span = event.chatter
        rpm = self.live.frame.rpm if self.live.frame else None
        text = f"Chatter at {_hertz(span.frequency_hz)}, {span.severity}."
        self._write(
            "chatter-started",
            text,
            "",
            {**_chatter_row(span), "rpm": rpm},
            stream_id,
            event.sample,
            self.live.cut_id,
            self.live.chatter_id,
        )
        self._publish_state()

    def _chatter_ended(self, stream_id: str, event: ChatterEnded) -> None:
        span = event.chatter
        self._cut_chatter.append(span)
        lasted = (span.end_sample - span.start_sample) / self._rate_hz
        loudest = f"loudest at {_hertz(span.frequency_hz)}, {span.severity}"
        text = f"The chatter is over after {lasted:.1f} s; {loudest}."
        self._write("chatter-ended", text, "", _chatter_row(span), stream_id, event.sample, self.live.cut_id)
        self.live.chatter_id = None
        self._publish_state()

    def _notice(self, stream_id: str, notice: Notice) -> None:
        now_s = notice.sample / self._rate_hz
        self.live.board.post(notice.code, notice.text, notice.hint, now_s + 20.0)
        if now_s - self._noticed.get(notice.code, -NOTICE_AGAIN_S) >= NOTICE_AGAIN_S:
            self._noticed[notice.code] = now_s
            self._write(
                "notice",
                notice.text,
                notice.hint,
                {"code": notice.code},
                stream_id,
                notice.sample,
                self.live.cut_id,
            )
        self._publish_state()

    def _chatter_rows(self, still_open: ChatterSpan | None = None) -> list[dict[str, Any]]:
        return [_chatter_row(span) for span in (*self._cut_chatter, *([still_open] if still_open else []))]

    def _is_due(self, what: str, now_s: float, every_s: float) -> bool:
        if now_s < self._due[what]:
            return False
        # a hair less than the interval, so that frames that come just as often are not halved
        self._due[what] = now_s + 0.9 * every_s
        return True

    def _publish_state(self) -> None:
        self._feed.publish("state", self._whole_state())

    def _write(self, kind, text, hint, data, stream_id=None, sample=None, cut_id=None, event_id=None) -> None:
        entry = self._log.add(kind, text, hint, cut_id, event_id)
        self._archive.add_event(
            entry["id"], kind, stream_id, sample, cut_id, {"text": text, "hint": hint, **data}
        )
        self._feed.publish("log", entry)


def _hertz(frequency_hz: float) -> str:
    """Write a frequency as the pages do, the thousands set apart narrowly."""
    return f"{frequency_hz:,.0f}\u00a0Hz".replace(",", "\u202f")


def _chatter_row(span: ChatterSpan) -> dict[str, Any]:
    return {
        "start_sample": span.start_sample,
        "end_sample": span.end_sample,
        "alarm_sample": span.alarm_sample,
        "frequency_hz": round(span.frequency_hz, 3),
        "level_db": round(span.level_db, 2),
        "severity": span.severity,
        "kind": span.kind,
        "confidence": round(span.confidence, 4),
    }
