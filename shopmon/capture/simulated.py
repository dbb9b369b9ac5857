"""The demo: one simulated pass, rendered once and shipped, played over and over in real time.

It needs no microphone, no sound card and no PortAudio, and it says that it is invented.
"""

import json
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from shopmon.capture.audio_file import AudioFile
from shopmon.capture.recording import Player
from shopmon.capture.source import SourceFormat, SourceNotice
from shopmon.signals.block import Block, Channel

DEMO_PASS = Path(__file__).with_name("demo") / "pass.flac"
DEMO_TRUTH = DEMO_PASS.with_name("pass.truth.json")
DEMO_NAME = "simulated cut (invented, no microphone)"


def demo_setup() -> dict:
    """Return what a person would say of the tool: ``nominal_rpm`` (not quite the true speed), ``flutes``."""
    spindle = json.loads(DEMO_TRUTH.read_text(encoding="utf-8"))["spindle"]
    return {"nominal_rpm": float(spindle["nominal_rpm"]), "flutes": int(spindle["flutes"])}


class DemoSource:
    """Plays a simulated pass in a loop, the sample count running on.

    Parameters
    ----------
    path
        The pass; the shipped one when not given.
    real_time
        Pace the blocks by the monotonic clock; otherwise they come as fast as they can be read.
    clock
        Monotonic seconds; given by tests.

    Raises
    ------
    RecordingError
        The pass cannot be read.
    """

    source_id = "demo"
    name = DEMO_NAME

    def __init__(
        self,
        path: str | Path = DEMO_PASS,
        *,
        real_time: bool = True,
        clock: Callable[[], float] = time.monotonic,
    ):
        self._audio = AudioFile(path)
        self._clock = clock if real_time else None
        self._format = SourceFormat(
            source_id=self.source_id,
            name=self.name,
            sample_rate_hz=self._audio.sample_rate_hz,
            channels=(Channel(),) * self._audio.channels,
            code_format=self._audio.code_format,
        )

    @property
    def format(self) -> SourceFormat:
        """What the pass holds."""
        return self._format

    def blocks(self, stop: threading.Event) -> Iterator[Block | SourceNotice]:
        """Yield the pass again and again until `stop` is set."""
        yield SourceNotice(
            code="device-opened",
            text="Playing a simulated cut: everything heard and shown is invented.",
            hint="Start with --source mic to listen to a real machine.",
        )
        player = Player(self._format, self._audio, clock=self._clock)
        while not stop.is_set():
            self._audio.rewind()
            yield from player.play(stop)

    def close(self) -> None:
        """Close the pass; calling it twice is harmless."""
        self._audio.close()
