"""One door to everything that can be asked about a cut afterwards."""

import math
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path

from shopmon.errors import RecordingError, SettingError
from shopmon.service.review.hearing import Hearings
from shopmon.service.review.lanes import lanes
from shopmon.service.review.moment import moment, rotation_at, window_s
from shopmon.service.review.overview import Overviews
from shopmon.service.review.parts_of_sound import PARTS, PartOfSound, PartsOfSound
from shopmon.service.review.picture import AT_ONCE_S, OpenSound, Picture, Pictures, View
from shopmon.service.review.stretch import Log, Stretch, find_stretch

KNOWN_FOR_S = 5.0  # what was judged or filed meanwhile shows after so long
STRETCHES = 8
NO_SOUND = "The figures below are there all the same."


class CutReview:
    """Answers what is asked of cuts and kept stretches, by their id.

    Parameters
    ----------
    log
        Where cuts and their files are found.
    folder
        For pictures of long recordings.
    budget_bytes
        What all sound may take on disk.
    clock
        Monotonic seconds; given by tests.
    """

    def __init__(
        self, log: Log, folder: Path, budget_bytes: int, clock: Callable[[], float] = time.monotonic
    ):
        self._log, self._clock = log, clock
        self.pictures = Pictures(Overviews(folder, budget_bytes))
        self.hearings = Hearings()
        self._parts = PartsOfSound()
        self._stretches: OrderedDict[str, tuple[float, Stretch]] = OrderedDict()
        self._lock = threading.Lock()

    def stretch(self, stretch_id: str) -> Stretch | None:
        """Return what is known of a cut or a kept stretch, None when there is none with this id."""
        now_s = self._clock()
        with self._lock:
            known = self._stretches.get(stretch_id)
        if known is not None and now_s - known[0] < KNOWN_FOR_S:
            return known[1]
        found = find_stretch(self._log, stretch_id)
        if found is not None:
            with self._lock:
                self._stretches[stretch_id] = (now_s, found)
                self._stretches.move_to_end(stretch_id)
                while len(self._stretches) > STRETCHES:
                    self._stretches.popitem(last=False)
        return found

    def lanes(self, stretch_id: str, from_s: float | None, to_s: float | None, points: int) -> dict | None:
        """Return ``shopmon.lanes/1`` of a part, None when there is no such cut.

        Parameters
        ----------
        stretch_id
            Of a cut or a kept stretch.
        from_s, to_s
            The part in seconds from the first sample; None for the beginning and the end.
        points
            Most points of a series.

        Raises
        ------
        SettingError
            The part cannot be.
        """
        stretch = self.stretch(stretch_id)
        if stretch is None:
            return None
        messages, sound = [], None
        try:
            sound = self._sound(stretch)
        except RecordingError as exc:
            messages = [] if stretch.sound is None else [exc.text]
        whole_s = stretch.duration_s if sound is None else sound.reader.duration_s
        from_s, to_s = 0.0 if from_s is None else from_s, whole_s if to_s is None else to_s
        _check_part(from_s, to_s)
        told = lanes(stretch, sound, from_s, to_s, points)
        if sound is not None and sound.reader.damaged:
            messages = ["A part of the recording is damaged and shown as silence."]
        return {**told, "messages": [*told["messages"], *messages]}

    def picture(self, stretch_id: str, view: View) -> Picture | None:
        """Return the picture of a part, None when there is no such cut.

        Raises
        ------
        SettingError
            The part or the range cannot be.
        RecordingError
            There is no sound, or it cannot be read.
        """
        stretch = self.stretch(stretch_id)
        if stretch is None:
            return None
        _check_part(view.from_s, view.to_s)
        if not (math.isfinite(view.low) and math.isfinite(view.high) and 0 <= view.low < view.high):
            raise SettingError(
                f"A range from {view.low:g} to {view.high:g} cannot be.", "Ask for a rising one."
            )
        if (view.to_s - view.from_s) / view.columns > AT_ONCE_S:
            raise SettingError(f"Columns wider than {AT_ONCE_S:g} s show nothing.", "Ask for a shorter part.")
        self._sound(stretch)
        version = (id(stretch), stretch.rpm)
        if stretch.figures["t_s"].size:
            version = (stretch.id, stretch.figures["t_s"].size, float(stretch.figures["t_s"][-1]))
        return self.pictures.picture(stretch.sound, view, stretch.rotation_hz, version)

    def moment(self, stretch_id: str, at_s: float) -> dict | None:
        """Return ``shopmon.moment/1``, None when there is no such cut; asked again, it may tell more.

        Raises
        ------
        SettingError
            The recording has no such moment.
        RecordingError
            There is no sound, or it cannot be read.
        """
        stretch = self.stretch(stretch_id)
        if stretch is None:
            return None
        sound = self._sound(stretch)
        if not (math.isfinite(at_s) and 0 <= at_s <= sound.reader.duration_s):
            raise SettingError(
                f"There is no moment at {at_s:g} s.", f"The sound lasts {sound.reader.duration_s:.1f} s."
            )
        end_s = at_s + window_s(rotation_at(stretch, at_s)) / 2
        told = self.hearings.explain(stretch, min(end_s, sound.reader.duration_s), stretch.context)
        return moment(stretch, sound, at_s, told)

    def part_of_sound(self, stretch_id: str, part: str) -> PartOfSound | None:
        """Return a part of the sound as a file of its own, None when there is no such cut.

        Parameters
        ----------
        stretch_id
            Of a cut or a kept stretch.
        part
            ``left``: what is left without the teeth; ``strays``: the stray tones alone; ``first``: the first
            channel, where others are no sound for ears.

        Raises
        ------
        SettingError
            There is no such part.
        RecordingError
            There is no sound, or it cannot be read.
        """
        if part not in PARTS:
            raise SettingError(f"Only {part[:40]!r} cannot be heard.", f"Use one of: {', '.join(PARTS)}.")
        stretch = self.stretch(stretch_id)
        if stretch is None:
            return None
        return self._parts.get(stretch, stretch.sound, self._sound(stretch).reader, part)

    def close(self) -> None:
        """Stop what is being worked out."""
        self.hearings.close()
        self.pictures.close()

    def _sound(self, stretch: Stretch) -> OpenSound:
        if stretch.sound is None:
            raise RecordingError(" ".join(stretch.messages[:1]) or "There is no sound.", NO_SOUND)
        try:
            return self.pictures.open(stretch.sound)
        except RecordingError as exc:
            raise RecordingError("The recording cannot be read; the file is damaged.", NO_SOUND) from exc
        except OSError as exc:
            raise RecordingError("The file with the sound is missing.", NO_SOUND) from exc


def _check_part(from_s: float, to_s: float) -> None:
    if not (math.isfinite(from_s) and math.isfinite(to_s) and from_s < to_s):
        raise SettingError(f"A part from {from_s:g} to {to_s:g} s cannot be.", "Ask for a later end.")
