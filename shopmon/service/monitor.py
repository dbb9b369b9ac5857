"""The whole monitor behind one door: what the pages and the command line may ask and do."""

import logging
import threading
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from shopmon.capture.source import Source
from shopmon.errors import SettingError
from shopmon.listening.background import background_entries
from shopmon.listening.explanation import explanation_as_data
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.listening.state import is_current, learned
from shopmon.records.archive import Archive, RecordingStatus
from shopmon.service.clock import trusted_clock
from shopmon.service.context import ORIGINS, checked_context, facts_of, setup_of
from shopmon.service.cuts.beside import OtherStreams
from shopmon.service.cuts.hearing_again import HearingAgain
from shopmon.service.cuts.judging import Judging
from shopmon.service.cuts.side_by_side import SideBySide, side_by_side
from shopmon.service.cuts.told import CutReports, cut_for_pages, kept_for_pages, mark_for_pages
from shopmon.service.engine import Engine
from shopmon.service.journal import Journal, Log, new_id
from shopmon.service.lamp import StateLamp
from shopmon.service.live_feed import LiveFeed
from shopmon.service.mills.choice import with_tool
from shopmon.service.programs.desk import ProgramDesk
from shopmon.service.programs.runs import by_program
from shopmon.service.review.review import CutReview
from shopmon.service.sensors.beside import AllSensors
from shopmon.service.settings import Settings
from shopmon.service.speeds.advising import Advising
from shopmon.service.speeds.desk import SpeedsDesk
from shopmon.service.speeds.outlooks import Outlooks
from shopmon.service.spindle.desk import SpindleDesk, dated_calibration
from shopmon.service.tap.desk import TapDesk
from shopmon.service.walls.desk import WallDesk
from shopmon.service.wishes import Wishes

HOUSEKEEPING_EVERY_S = 2.0
STUCK_S = 60.0
AROUND_A_MARK_S, MARKS_LOOKED_AT = (-60.0, 30.0), 1000
log = logging.getLogger(__name__)


class Monitor:
    """Owns the engine, the archive and the live feed.

    Parameters
    ----------
    source
        What to listen to.
    archive
        Where things are kept; closed with the monitor.
    settings
        The settings the program was started with.
    setup
        Nominal speed and flutes from the command line, if any; else the last known context counts.
    """

    def __init__(self, source: Source, archive: Archive, settings: Settings, setup: Setup | None = None):
        self.archive, self._source = archive, source
        self.register = archive.register
        self.outlooks = Outlooks(archive.register)
        self.settings = settings
        self.feed = LiveFeed()
        self._lamp = (
            StateLamp(self.feed, settings.lamp.gpio_pin) if settings.lamp.gpio_pin is not None else None
        )
        self._log = Log(lambda: self._wall_offset_s)
        self._clock_origin = trusted_clock()
        self._wall_offset_s = time.time() - time.monotonic() if self._clock_origin else None
        if self._clock_origin:
            archive.set_clock(time.time(), self._clock_origin)
        self._context: dict[str, Any] = {k: v for k, v in archive.latest_context().items() if v is not None}
        self._context.pop("preferences", None)
        self.wishes = Wishes(archive, self._use_wishes)
        self._context_lock = threading.Lock()
        self._status = archive.status()
        listening = _listener_settings(settings, source)
        reports = CutReports(listening, self._setup, lambda: facts_of(self.context(), settings.machine))
        self._open_the_log(listening)
        self.programs = ProgramDesk(archive, self.set_context, self._publish_state)
        self.speeds = SpeedsDesk(archive, settings.machine, self.context, self.state)
        sensors = self.all_sensors = AllSensors(archive, source, self._meter)
        self.sensors = sensors.first
        self.taps = TapDesk(
            archive, self.context, self.state, sensors.vibration_format, self.set_context, self.speeds.news,
            sensors.vibration.calibration,
        )  # fmt: skip
        self.spindle = SpindleDesk(
            archive, settings.machine, sensors.vibration_format, lambda: dated_calibration(sensors.vibration)
        )
        sensors.hand_vibration_to(self.taps.take, self.spindle.take)
        self._advising = Advising(archive, self.speeds.later)
        self._journal = Journal(
            archive,
            self.feed,
            self._log,
            reports,
            self.state,
            self._kept_context,
            self._advising.take,
            self.speeds.news,
            self.programs,
            (sensors.take,),
            OtherStreams(archive, source, sensors.take) if hasattr(source, "others") else None,
        )
        if setup:
            self._told_at_start(setup)
        self._engine = Engine(
            source, listening, self._journal, self._setup(), _learned_before(archive, source.source_id)
        )
        self._closing = threading.Event()
        self._housekeeper = threading.Thread(target=self._keep_house, name="housekeeper", daemon=True)
        self._say_recovered()

    def _say_recovered(self) -> None:
        for cut_id in self.archive.recovered:
            self._log.add(
                "notice",
                "A cut that was open when the power went was closed and kept.",
                "Open it under Cuts.",
                cut_id,
            )

    def _open_the_log(self, listening: ListenerSettings) -> None:
        """What is asked and said of cuts afterwards."""
        self.judging = Judging(self.archive, lambda context: self.speeds.news(context))
        self.hearing_again = HearingAgain(self.archive, listening)
        self.review = CutReview(self, self.archive.pictures, self.settings.storage.budget_bytes)
        self.walls = WallDesk(self.archive)

    def _told_at_start(self, setup: Setup) -> None:
        said = {"nominal_rpm": setup.nominal_rpm, "flutes": setup.flutes}
        said = {name: value for name, value in said.items() if value}
        if said:
            self._take_context(said)
            self.archive.add_context(new_id(), self._kept_context(), dict.fromkeys(said, "touched"))

    def start(self) -> None:
        """Begin to listen."""
        self._engine.start()
        self._housekeeper.start()
        self.programs.start()

    def close(self) -> None:
        """Stop listening and close everything in good order; calling it twice is harmless."""
        self._closing.set()
        self._engine.stop()
        if self._lamp:
            self._lamp.close()
        self.feed.close()
        self.taps.stop()
        self.spindle.stop()
        self.speeds.close()
        self.review.close()
        self.hearing_again.close()
        self._advising.settle()
        self.programs.close()
        self.outlooks.close()
        self.archive.close()

    def wait_for_trouble(self) -> None:
        """Return when the engine has died, the sound system is stuck for good, or the monitor is closed."""
        while not (self.failed or self.stuck or self._closing.wait(0.5)):
            pass

    @property
    def engine_finished(self) -> threading.Event:
        """Set when nothing more will come of the source."""
        return self._engine.finished

    @property
    def failed(self) -> bool:
        """True when the engine died of an error of ours."""
        return self._engine.failure is not None

    @property
    def stuck(self) -> bool:
        """True when only a new process can bring the sound back."""
        since_s = self._engine.stalled_since_s
        return since_s is not None and time.monotonic() - since_s > STUCK_S

    # what is true now

    def state(self) -> dict[str, Any]:
        """Return the body of ``GET /api/state``."""
        status = self._status
        context = self.context()
        live = self._journal.live.as_dict()
        return {
            **live,
            "input": {**live["input"], "in_unit": self.sensors.level_text()},
            "others": self._source.others() if hasattr(self._source, "others") else [],
            "notices": [*live["notices"], *self.sensors.notices(), *log_notices(status)],
            "nominal_rpm": context.get("nominal_rpm"),
            "flutes": context.get("flutes"),
            "end_mill": {"id": context.get("end_mill_id"), "label": context.get("end_mill")},
            "program": self.programs.state(),
            "audio": {
                "keeping": bool(status.recording and self._journal.live.meter.present),
                "stopped": status.stopped_because,
                "hint": status.hint,
                "hours_left": status.hours_left,
                "buffer_s": self.settings.storage.buffer_minutes * 60,
            },
            "units": self.settings.screen.units,
            "clock_set": self._clock_is_set(),
        }

    def health(self) -> dict[str, Any]:
        """Say whether the engine lives and how fresh its newest frame is."""
        position = self._journal.position
        return {
            "ok": not (self.failed or self.stuck),
            "state": self._journal.live.as_dict()["state"],
            "sample": position[1] if position else None,
            "recording": self._status.recording,
            # no reason to be started afresh: rows that wait in memory would be lost by it
            "log_written": not log_notices(self._status),
        }

    def log(self, limit: int = 50) -> list[dict]:
        """Return the newest log entries, newest first."""
        return self._log.newest(limit)

    # the context

    def context(self) -> dict[str, Any]:
        """Return what is known of tool, speed and part now."""
        with self._context_lock:
            return dict(self._context)

    def set_context(self, values: Mapping[str, Any], origin: str) -> dict[str, Any]:
        """Take over what the person, a program or a controller's macro says.

        Raises
        ------
        SettingError
            A name or value that cannot be.
        """
        if origin not in ORIGINS:
            raise SettingError(f"The origin cannot be {origin!r}.", f"Use one of: {', '.join(ORIGINS)}.")
        checked = checked_context(values)
        if origin == "macro" and checked.get("program_section"):
            # where a program is followed, its section brings tool and speed along
            checked = {**self.programs.told_by_macro(checked["program_section"]), **checked}
        checked, origins = with_tool(checked, self.context(), self.register, origin)
        self._take_context(checked)
        self._tell_listener(origins)
        return self.context()

    def _meter(self) -> tuple[float | None, float]:
        meter = self._journal.live.meter
        return meter.rms_db, meter.clipped_share

    def _publish_state(self) -> None:
        self.feed.publish("state", self.state())

    def _use_wishes(self) -> None:
        self._tell_listener({})

    def _tell_listener(self, origins: dict[str, str]) -> None:
        """Let the listener follow, and keep from which sample on it does."""
        whole = self._kept_context()

        def keep(stream_id: str | None, sample: int | None) -> None:
            self.archive.add_context(new_id(), whole, origins, stream_id, sample)

        self._engine.change_setup(setup_of(whole), keep)
        self.feed.publish("state", self.state())

    def recent_setups(self, n: int = 6) -> list[dict]:
        """Return the pairs of speed and flutes used last, newest first."""
        return self.archive.recent_setups(n)

    def _take_context(self, values: dict[str, Any]) -> None:
        with self._context_lock:
            self._context = {k: v for k, v in {**self._context, **values}.items() if v is not None}

    def _kept_context(self) -> dict[str, Any]:
        """The context as it is kept: what is cut, and what the person wants of the listener."""
        wishes = self.wishes.as_data()
        return {**self.context(), "preferences": wishes} if wishes else self.context()

    def _setup(self) -> Setup:
        return setup_of(self._kept_context())

    def explain(self) -> dict[str, Any]:
        """Explain this moment: the lines that are seen, what each is taken for, and the evidence.

        Raises
        ------
        SettingError
            There is no sound to explain.
        """
        _, _, rate_hz = self._where()
        told = self._engine.ask(lambda listener: listener.explain())
        if told is None:
            raise SettingError("There is nothing to explain yet.", "Wait for the first second of sound.")
        return explanation_as_data(told, 0, rate_hz)

    # the background

    def background(self) -> list[dict[str, Any]]:
        """Return the tones that are no chatter, with their origin; without sound only the rejected."""
        heard = self._engine.ask(lambda listener: listener.background())
        return background_entries([], self.wishes.now, 1.0) if heard is None else heard

    # cuts

    def cuts(self, **filters: Any) -> list[dict]:
        """Return cuts as the pages show them, newest first."""
        return [cut_for_pages(row) for row in self.archive.cuts(**filters)]

    def cut(self, cut_id: str) -> dict | None:
        """Return one cut with its events, or None."""
        row = self.archive.cut(cut_id)
        return cut_for_pages(row, self.archive.events(limit=500, cut_id=cut_id)) if row else None

    def side_by_side(self, first_id: str, second_id: str) -> SideBySide | None:
        """Return what two cuts have in common and what not; None where there is no such cut."""
        rows = [self.archive.cut(cut_id) for cut_id in (first_id, second_id)]
        return side_by_side(*rows, by_program(self.archive, *rows)) if all(rows) else None

    def audio_path(self, cut_id: str) -> Path | None:
        """Return the file with the cut's sound, None when there is none (any more, or yet)."""
        return self.archive.audio_path(cut_id)

    def features(self, cut_id: str) -> dict | None:
        """Return the per-frame figures of a cut."""
        return self.archive.features(cut_id)

    def disk(self) -> dict[str, Any]:
        """Return what sound takes on the disk: ``used_gb``, ``budget_gb``, ``free_gb``, ``hours_held``."""
        status = self._status
        sizes = (status.bytes_used, status.budget_bytes, status.bytes_free)
        used, budget, free = (round(size / 1e9, 1) for size in sizes)
        return {"used_gb": used, "budget_gb": budget, "free_gb": free, "hours_held": status.hours_held}

    def set_keep(self, cut_id: str, keep: bool) -> None:
        """Mark a cut's sound as never to be removed, or take the mark back."""
        self.archive.set_keep(cut_id, keep)

    def discard_sound(self, cut_id: str) -> bool:
        """Remove a cut's sound now; return False where something marked keep lies in it."""
        self.archive.discard_sound(cut_id)
        self.archive.flush(filing=False)
        return self.archive.audio_path(cut_id) is None

    # the two large buttons

    def mark_moment(self, note: str = "") -> dict:
        """Remember this moment; it can be found again in the sound."""
        stream_id, sample, _ = self._where()
        mark_id = new_id()
        self.archive.mark_moment(mark_id, stream_id, sample, note)
        return self._tell("mark", f"Moment marked{': ' + note if note else '.'}", mark_id)

    def keep_last(self, seconds: float = 120.0) -> dict:
        """Keep the last stretch of sound for good."""
        stream_id, sample, rate_hz = self._where()
        keep_id = new_id()
        self.archive.keep_last(stream_id, seconds, keep_id)
        held = min(seconds, sample / rate_hz)
        return self._tell("kept", f"The last {held:.0f} seconds of sound are kept.", keep_id)

    def kept(self) -> list[dict]:
        """Return the stretches that were kept by hand, newest first."""
        return [kept_for_pages(row) for row in self.archive.kept_recordings()]

    def kept_audio_path(self, keep_id: str) -> Path | None:
        """Return the file with a stretch that was kept by hand, None when it is not there."""
        return self.archive.kept_audio_path(keep_id)

    def open_mark(self, mark_id: str) -> dict[str, str] | None:
        """Make the sound around a marked moment something to look at; None when there is no such mark.

        Returns
        -------
        dict
            ``cut_id`` where a cut covers it, else ``kept_id`` of a stretch taken from the rolling buffer.

        Raises
        ------
        SettingError
            The sound is not there any more.
        """
        mark = next((row for row in self.archive.marks(MARKS_LOOKED_AT) if row["id"] == mark_id), None)
        if mark is None:
            return None
        if mark["cut_id"]:
            return {"cut_id": mark["cut_id"]}
        for span in self.kept():
            if any(each["id"] == mark_id for each in span["marks"]):
                return {"kept_id": span["id"]}
        rate_hz = self.archive.stream_rate_hz(mark["stream_id"])
        first, end = (round(mark["sample"] + seconds * rate_hz) for seconds in AROUND_A_MARK_S)
        keep_id = new_id()
        self.archive.keep_around(mark["stream_id"], mark["sample"], first, end, keep_id)
        return {"kept_id": keep_id}

    def kept_features(self, keep_id: str) -> dict | None:
        """Return the per-frame figures of a stretch that was kept by hand."""
        return self.archive.kept_features(keep_id)

    def marks(self, limit: int = 100) -> list[dict]:
        """Return the newest marked moments, newest first, each with the cut in whose sound it lies."""
        return [{**mark_for_pages(row), "cut_id": row["cut_id"]} for row in self.archive.marks(limit)]

    def _where(self) -> tuple[str, int, float]:
        if self._journal.position is None:
            raise SettingError(
                "There is no sound coming in, so there is nothing to keep.", "Look at the input below."
            )
        return self._journal.position

    def _tell(self, kind: str, text: str, entry_id: str) -> dict:
        entry = self._log.add(kind, text, "", self._journal.live.cut_id, entry_id)
        self.feed.publish("log", entry)
        return entry

    # in the background

    def set_clock(self, wall_s: float, origin: str) -> None:
        """Believe this time from now on; earlier rows of this start are dated by it too."""
        self._wall_offset_s = wall_s - time.monotonic()
        self._clock_origin = origin
        self.archive.set_clock(wall_s, origin)
        self.feed.publish("state", self.state())

    def _clock_is_set(self) -> bool:
        return self._clock_origin is not None

    def _keep_house(self) -> None:
        while not self._closing.wait(HOUSEKEEPING_EVERY_S):
            self._status = self.archive.status()
            if self._clock_origin is None and (origin := trusted_clock()):
                self.set_clock(time.time(), origin)


def log_notices(status: RecordingStatus) -> list[dict[str, str]]:
    """Return what the person must know when the log of the cuts does not reach the disk."""
    if status.rows_waiting:
        return [
            {
                "code": "log-not-written",
                "text": "The log cannot be written to the disk; new cuts wait in memory.",
                "hint": "Free space on the disk and check that the data folder is there; do not switch off.",
            }
        ]
    if status.rows_refused:
        return [
            {
                "code": "log-incomplete",
                "text": "Some entries of the log could not be kept.",
                "hint": "Look at the messages of the program; the recordings are not touched by this.",
            }
        ]
    return []


def _listener_settings(settings: Settings, source: Source) -> ListenerSettings:
    return ListenerSettings(
        min_rpm=settings.machine.min_rpm,
        max_rpm=settings.machine.max_rpm,
        cut_gap_s=settings.listening.cut_gap_s,
        sensor=_sensor_of(source),
    )


def _sensor_of(source: Source) -> str:
    # a device that is waited for says nothing yet of its format
    form = source.format
    return form.channels[0].kind if form else getattr(source, "sensor", "microphone")


def _learned_before(archive: Archive, source_id: str) -> dict | None:
    """What the listener knew of this source when the program last ended."""
    state = archive.last_state(source_id)
    try:
        return learned(state) if state and is_current(state) else None
    except (KeyError, TypeError):
        log.warning("What was learned before is damaged; it is learned anew.")
        return None
