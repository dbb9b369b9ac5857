"""A recording analysed as the live monitor would hear it."""

import json
import math
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from shopmon.capture.recording import RecordingSource
from shopmon.errors import RecordingError, SettingError
from shopmon.listening.counsel import CutFacts
from shopmon.listening.explanation import explanation_as_data
from shopmon.listening.intake.health import notice
from shopmon.listening.listener import Listener
from shopmon.listening.preferences import Preferences
from shopmon.listening.report import Inspection
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.listening.state import is_current
from shopmon.service.context import setup_of
from shopmon.signals.block import Block, Channel, sound_columns

SIDECAR_SCHEMA = "shopmon.sidecar/1"
SIDECAR_SUFFIX = ".state.json"


def sidecar_path(path: str | Path) -> Path:
    """Return where a recording's starting state lies: beside it, ``NAME.flac.state.json``."""
    path = Path(path)
    return path.with_name(path.name + SIDECAR_SUFFIX)


def read_sidecar(path: str | Path) -> dict | None:
    """Read the sidecar of a recording, None when there is none.

    Its keys: ``state`` (a listener's snapshot), ``setup_changes`` (each with ``sample``, ``nominal_rpm``,
    ``flutes``), and where the recording does not begin at the snapshot's sample, ``first_sample``. All
    samples are counted in the stream.

    Raises
    ------
    RecordingError
        It is there but cannot be used.
    """
    file = sidecar_path(path)
    if not file.exists():
        return None
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as exc:
        raise RecordingError(
            f"The starting state {file.name} cannot be read.", "Inspect with --cold to go without it."
        ) from exc
    whole = isinstance(data, dict) and isinstance(data.get("state"), dict)
    if not whole or data.get("schema") != SIDECAR_SCHEMA:
        raise RecordingError(
            f"{file.name} is no starting state of this program.", "Inspect with --cold to go without it."
        )
    if not is_current(data["state"]):
        raise RecordingError(
            f"{file.name} was kept by another version of this program.",
            "Inspect with --cold to go without it.",
        )
    return data


def inspect_recording(
    path: str | Path,
    *,
    setup: Setup,
    settings: ListenerSettings,
    cold: bool = False,
    full_scale: float | None = None,
    unit: str = "FS",
    facts: CutFacts | None = None,
    preferences: Preferences | None = None,
    at_s: float | None = None,
    progress: Callable[[float], None] | None = None,
) -> dict:
    """Analyse a recording.

    Parameters
    ----------
    path
        Anything libsndfile reads.
    setup
        Nominal speed and flutes; None values are taken from the sidecar where there is one.
    settings
        Configuration of the listener.
    cold
        Go without the sidecar.
    full_scale, unit
        What full scale means; levels are then relative to one unit.
    facts
        How the cut was taken and the limits of machine and tool, for the advice.
    preferences
        What the person wants of the listener; None: as it was when the recording was made.
    at_s
        A moment to be explained, seconds from the first sample.
    progress
        Called with the share done, 0 to 1, now and then; only where the length is known.

    Returns
    -------
    dict
        ``shopmon.inspection/1``, see `shopmon.listening.report`.

    Raises
    ------
    RecordingError
        The recording or its sidecar cannot be read.
    SettingError
        The sample rate or full scale cannot be used.
    """
    sidecar = None if cold else read_sidecar(path)
    source = RecordingSource(path, real_time=False, sensor=settings.sensor, channels=channels_beside(path))
    try:
        hearing = _Hearing(source, setup, settings, sidecar, full_scale, unit, facts, preferences)
        if at_s is not None:
            hearing.explain_at(at_s)
        for item in source.blocks(threading.Event()):
            hearing.take(item)
            if progress and source.declared_frames:
                progress(min(1.0, hearing.frames / source.declared_frames))
        return hearing.result()
    finally:
        source.close()


def mixes_sensors(path: str | Path) -> bool:
    """Tell whether a recording holds columns that are no sound beside the first: other sensors, or pulses."""
    channels = channels_beside(path)
    return any(channel.source_id is not None or channel.kind == "tachometer" for channel in channels)


def channels_beside(path: str | Path) -> tuple[Channel, ...]:
    """What the channels of a recording of ours are, also where it is heard without its memory."""
    try:
        told = json.loads(sidecar_path(path).read_text(encoding="utf-8"))
        kinds = told.get("channel_kinds", [])
        tops = told.get("channel_tops_hz") or [None] * len(kinds)
        sources = told.get("channel_sources") or [None] * len(kinds)
        if not set(kinds) <= {"microphone", "accelerometer", "tachometer"}:
            return ()
        return tuple(
            Channel(kind=kind, top_hz=None if top is None else float(top), source_id=source)
            for kind, top, source in zip(kinds, tops, sources, strict=True)
        )
    except (OSError, ValueError, TypeError, AttributeError):
        return ()


class _Hearing:
    """One recording on its way through a listener."""

    def __init__(
        self,
        source,
        setup: Setup,
        settings: ListenerSettings,
        sidecar: dict | None,
        full_scale,
        unit,
        facts,
        preferences: Preferences | None,
    ):
        form = source.format
        self._preferences = preferences
        state = sidecar["state"] if sidecar else None
        heard = [form.channels[column] for column in sound_columns(form.channels)]
        self.listener = Listener(settings, form.sample_rate_hz, heard, state)
        self.first = (sidecar.get("first_sample", state["sample"]) or 0) if sidecar else 0
        self.frames = 0
        self._due: int | None = None
        self._moment: dict | None = None
        self.report = Inspection(
            sample_rate_hz=form.sample_rate_hz,
            channels=len(form.channels),
            setup=setup,
            start="sidecar" if sidecar else "cold",
            first_sample=self.first,
            full_scale=full_scale,
            unit=unit,
            facts=facts,
        )
        self._offset_db = 20 * math.log10(full_scale) if full_scale else 0.0
        self._apply(setup, sidecar)

    def _apply(self, setup: Setup, sidecar: dict | None) -> None:
        known = setup
        if sidecar:
            known = _filled(setup, self.listener.setup)
            for change in sidecar.get("setup_changes", []):
                known = self._filled(setup, setup_of(change))
                self.listener.change_setup(known, change["sample"])
        if not sidecar or setup != Setup() or self._preferences is not None:
            self.listener.change_setup(self._filled(setup, self.listener.setup), self.first)
        self.report.set_setup(known)

    def _filled(self, setup: Setup, other: Setup) -> Setup:
        known = _filled(setup, other)
        return known if self._preferences is None else replace(known, preferences=self._preferences)

    def take(self, item) -> None:
        """Hear one block, or what the source has to say."""
        if not isinstance(item, Block):
            if item.code == "recording-truncated":
                self.report.add_notice(self.first + self.frames, item.code, item.text, item.hint)
            return
        if self._due is not None and self.frames < self._due <= self.frames + item.frames:
            head = self._due - self.frames
            self._hear(item.codes[:head], item)
            self._explain()
            self._hear(item.codes[head:], item)
        else:
            self._hear(item.codes, item)

    def _hear(self, codes, block: Block) -> None:
        if not len(codes):
            return
        part = replace(block, codes=codes, first_sample=self.first + self.frames)
        for event in self.listener.feed(part):
            self.report.add(event)
        self.frames += len(codes)

    def explain_at(self, at_s: float) -> None:
        """Explain this moment when it comes.

        Raises
        ------
        SettingError
            Not a time from 0 on.
        """
        if not (math.isfinite(at_s) and at_s >= 0):
            raise SettingError(f"A moment at {at_s!r} s cannot be.", "Count seconds from the first sample.")
        # before the first frame there is nothing to be explained
        self._due = max(int(at_s * self.listener.rates.sample_rate_hz), self.listener.rates.hop_frames)

    def _explain(self) -> None:
        told, rate_hz = self.listener.explain(), self.listener.rates.sample_rate_hz
        if told is not None:
            self._moment = explanation_as_data(told, self.first, rate_hz, self._offset_db)

    def result(self) -> dict:
        """End and tell."""
        for event in self.listener.finish():
            self.report.add(event)
        if self.listener.setup.nominal_rpm is not None and not self.report.heard_rotation:
            self.report.add(notice("speed-not-heard", self.first))
        if self.listener.setup != Setup():
            # what a sidecar's state still had waiting has come into force by now
            self.report.set_setup(self.listener.setup)
        if self._due is not None and self._moment is None:
            raise SettingError("The recording ends before that moment.", "Name an earlier one.")
        result = self.report.result(
            end_sample=self.first + self.frames,
            quality=self.listener.quality(),
            alternatives_rpm=self.listener.alternatives_rpm(),
        )
        return result if self._moment is None else {**result, "moment": self._moment}


def _filled(setup: Setup, other: Setup) -> Setup:
    """The setup, with what it leaves open taken from another."""
    kept, wanted = other.preferences, setup.preferences.false_alarms_per_hour
    return Setup(
        nominal_rpm=setup.nominal_rpm if setup.nominal_rpm is not None else other.nominal_rpm,
        flutes=setup.flutes if setup.flutes is not None else other.flutes,
        job=other.job,
        tool=other.tool,
        preferences=kept if wanted is None else replace(kept, false_alarms_per_hour=wanted),
    )
