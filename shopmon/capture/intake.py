"""What the audio callback does: copy, count, and nothing else."""

import time
from collections.abc import Callable

from shopmon.capture.codes import CODE_BYTES
from shopmon.capture.ring import Ring
from shopmon.signals.block import CodeFormat

RING_S = 12.0


class Intake:
    """The callback's side of a stream, and what the reader may know of it.

    Parameters
    ----------
    sample_rate_hz, channels, code_format
        What the stream delivers.
    clock
        Monotonic seconds; given by tests.
    """

    def __init__(
        self,
        sample_rate_hz: float,
        channels: int,
        code_format: CodeFormat,
        clock: Callable[[], float] = time.monotonic,
    ):
        frame_bytes = channels * CODE_BYTES[code_format]
        self.ring = Ring(round(RING_S * sample_rate_hz), frame_bytes)
        self.callbacks = 0
        self.overflows = 0
        self.last_callback_s = 0.0
        self.finished = False
        self._clock = clock

    def callback(self, data, frames: int, time_info, status) -> None:
        """Take one block from PortAudio; called by its own thread."""
        if status and status.input_overflow:
            self.overflows += 1
        self.ring.write(data)
        self.last_callback_s = self._clock()
        self.callbacks += 1

    def finish(self) -> None:
        """Note that the stream has ended; called by PortAudio, also where nobody asked it to end."""
        self.finished = True
