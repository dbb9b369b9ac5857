"""A moment heard again by the listener, so that it can say what it took each line for and why."""

import threading
from collections import OrderedDict
from pathlib import Path
from typing import Any

from shopmon.capture.audio_file import AudioFile
from shopmon.errors import RecordingError
from shopmon.listening.explanation import explanation_as_data
from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings
from shopmon.listening.state import learned
from shopmon.service.context import setup_of
from shopmon.service.inspection import channels_beside, read_sidecar
from shopmon.service.review.stretch import Stretch
from shopmon.service.thinking import Failed, Thinker
from shopmon.signals.block import Block, Channel, sound_columns

LONGEST_S = 120.0  # farther from where hearing can begin, it begins nearer, with what was learned before
BEFORE_S, WITHOUT_CUT_S = 8.0, 30.0
SNAPSHOT_EVERY_S = 15.0
SNAPSHOTS_KEPT = 24
LEAST_S = 1.0
BLOCK_S = 0.5


class Hearings:
    """Explains moments of recordings, on a thread of its own that yields to all others."""

    def __init__(self):
        self.thinker = Thinker(waiting=4, remembered=64)
        self._snapshots: OrderedDict[tuple, dict] = OrderedDict()
        self._lock = threading.Lock()

    def explain(self, stretch: Stretch, end_s: float, context: dict[str, Any]) -> dict[str, Any]:
        """Return ``status`` ``thinking``, ``ready`` or ``failed`` and what goes with it.

        Parameters
        ----------
        stretch
            Must have a sound.
        end_s
            End of the newest sound that is heard.
        context
            What was known of tool and speed, where the recording itself does not say.
        """
        status = stretch.sound.stat()
        recording = (stretch.sound, status.st_size, status.st_mtime_ns)
        key = (recording, round(end_s, 2))
        told = self.thinker.ask(key, lambda: self._heard(stretch, recording, end_s, context), urgent=True)
        if told is None:
            return {"status": "thinking"}
        if isinstance(told, Failed):
            return {"status": "failed", "error": told.text, "hint": told.hint}
        return {"status": "ready", **told}

    def close(self) -> None:
        """End the thread."""
        self.thinker.close()

    def _heard(self, stretch: Stretch, recording: tuple, end_s: float, context) -> dict[str, Any]:
        audio = AudioFile(stretch.sound)
        try:
            run = _Run(audio, stretch.sound, context)
            begin_s, state = self._beginning(recording, end_s, stretch)
            run.begin(begin_s, state)
            self._play(run, recording, min(end_s, run.duration_s))
            told = run.listener.explain()
            if told is None:
                raise RecordingError(
                    "This moment is too near the beginning to be explained.", "Go on a little."
                )
            whole = begin_s == 0 or state is not None
            return {**explanation_as_data(told, run.first, audio.sample_rate_hz), "heard_whole": whole}
        finally:
            audio.close()

    def _beginning(self, recording: tuple, end_s: float, stretch: Stretch) -> tuple[float, dict | None]:
        """Choose the nearest place before the moment from which it can be heard as it was."""
        with self._lock:
            kept = [
                (at_s, state)
                for (of, at_s), state in self._snapshots.items()
                if of == recording and at_s <= end_s - LEAST_S
            ]
        at_s, state = max(kept, key=lambda each: each[0], default=(0.0, None))
        if end_s - at_s <= LONGEST_S:
            return at_s, state
        begun = [start for start, stop in stretch.engaged if start <= end_s <= stop + BEFORE_S]
        wanted = min(begun) - BEFORE_S if begun else end_s - WITHOUT_CUT_S
        return max(wanted, end_s - LONGEST_S, 0.0), None

    def _play(self, run: "_Run", recording: tuple, end_s: float) -> None:
        next_s = run.at_s + SNAPSHOT_EVERY_S
        while run.at_s < end_s - 1e-9 and run.hear(min(BLOCK_S, end_s - run.at_s)):
            if run.at_s >= next_s and run.whole:
                next_s += SNAPSHOT_EVERY_S
                with self._lock:
                    self._snapshots[(recording, run.at_s)] = run.listener.snapshot()
                    while len(self._snapshots) > SNAPSHOTS_KEPT:
                        self._snapshots.popitem(last=False)


class _Run:
    """One recording on its way through a listener, from any place on."""

    def __init__(self, audio: AudioFile, path: Path, context: dict[str, Any]):
        self._audio, self._context = audio, context
        self._known = channels_beside(path)
        self.duration_s = (audio.declared_frames or 0) / audio.sample_rate_hz
        try:
            self._sidecar = read_sidecar(path) or {}
        except RecordingError:
            self._sidecar = {}  # of another version: heard without what was known before
        state = self._sidecar.get("state")
        self.first = (self._sidecar.get("first_sample", state["sample"]) or 0) if state else 0
        self._frames = 0
        self.whole = False

    @property
    def at_s(self) -> float:
        """How far it was heard."""
        return self._frames / self._audio.sample_rate_hz

    def begin(self, at_s: float, snapshot: dict | None) -> None:
        """Begin at a time, with the listener's state there, or with what it had learned before."""
        rate = self._audio.sample_rate_hz
        settings = ListenerSettings(**self._sidecar.get("settings", {}))
        self._channels = self._known
        if len(self._known) != self._audio.channels:
            self._channels = (Channel(kind=settings.sensor),) * self._audio.channels
        self._frames = round(at_s * rate)
        state = self._sidecar.get("state")
        self.whole = snapshot is not None or self._frames == 0
        if snapshot is None and self._frames and state is not None:
            state = learned(state)
        elif snapshot is not None:
            state = snapshot
        heard = [self._channels[column] for column in sound_columns(self._channels)]
        self.listener = Listener(settings, rate, heard, state)
        if snapshot is None:
            self._tell_setup(state is not None and not self._frames)
        self._audio.seek(self._frames)

    def _tell_setup(self, from_start: bool) -> None:
        at = self.first + self._frames
        if not from_start:
            self.listener.change_setup(setup_of(self._context), at)
        for change in self._sidecar.get("setup_changes", []):
            if from_start or change["sample"] >= at:
                self.listener.change_setup(setup_of(change), change["sample"])

    def hear(self, seconds: float) -> bool:
        """Hear on; False at the end of the recording."""
        codes = self._audio.read(max(1, round(seconds * self._audio.sample_rate_hz)))
        if not len(codes):
            return False
        self.listener.feed(
            Block(
                codes=codes,
                code_format=self._audio.code_format,
                sample_rate_hz=self._audio.sample_rate_hz,
                first_sample=self.first + self._frames,
                source_id="review",
                stream_id="review",
                channels=self._channels,
            )
        )
        self._frames += len(codes)
        return True
