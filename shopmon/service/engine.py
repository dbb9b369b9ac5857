"""One thread that takes blocks from the source, lets the listener hear them, and tells what happened.

The source's own ring absorbs what this thread cannot take at once; nothing here waits for disk, network
or screen.
"""

import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from typing import Any, Protocol

from shopmon.capture.source import Source, SourceFormat, SourceNotice
from shopmon.errors import ShopmonError
from shopmon.listening.events import Event
from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.listening.state import learned
from shopmon.signals.block import Block, Channel

SNAPSHOT_EVERY_S = 5.0
ANSWER_WITHIN_S = 2.0
log = logging.getLogger(__name__)


class EngineSink(Protocol):
    """Where everything that happens goes, in order, from the engine's thread; must not block."""

    def stream_started(self, stream_id: str, form: SourceFormat) -> None:
        """Hear of a new stream."""

    def stream_ended(self, stream_id: str, sample: int) -> None:
        """Hear that no more will come of this stream."""

    def block(self, block: Block) -> None:
        """Take the samples, before any event that follows from them."""

    def event(self, stream_id: str, event: Event) -> None:
        """Take one event of the listener."""

    def snapshot(self, stream_id: str, sample: int, state: dict) -> None:
        """Take the listener's state, from which the rest of the stream can be heard again."""

    def beside(self, block: Block) -> None:
        """Take a block of another source as it came, to be recorded for itself."""

    def source_notice(self, notice: SourceNotice) -> None:
        """Hear what happened to the device."""


class Engine:
    """Runs one source through the listener until stopped or exhausted.

    Parameters
    ----------
    source
        Where blocks come from.
    settings
        Configuration of the listener.
    sink
        Who is told.
    setup
        What is known of tool and speed at the start.
    learned_before
        Learned part of an earlier snapshot (background, comb shape), or None.
    """

    def __init__(
        self,
        source: Source,
        settings: ListenerSettings,
        sink: EngineSink,
        setup: Setup,
        learned_before: dict | None = None,
    ):
        self.source = source
        self.settings = settings
        self.failure: BaseException | None = None
        self.stalled_since_s: float | None = None
        self._sink = sink
        self._setup = setup
        self._changes: deque[tuple[Setup, Callable[[str | None, int | None], None]]] = deque()
        self._questions: deque[tuple[Callable[[Listener], Any], Future]] = deque()
        self._learned = learned_before
        self._listener: Listener | None = None
        self._stream_id: str | None = None
        self._sample = 0
        self._next_snapshot = 0
        self._stop = threading.Event()
        self.finished = threading.Event()
        self._thread = threading.Thread(target=self._run, name="engine", daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def stop(self, timeout_s: float = 10.0) -> None:
        """End the stream in good order: what is open is closed and told."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(timeout_s)
        self.source.close()

    def change_setup(self, setup: Setup, tell: Callable[[str | None, int | None], None]) -> None:
        """Use another setup from the next block on; callable from any thread.

        `tell` hears the stream and the sample from which the change really holds, so that what is recorded
        beside the sound gives the same events again; both are None where no sound comes in.
        """
        if self._listener is None:
            self._setup = setup
            tell(None, None)
        else:
            self._changes.append((setup, tell))

    def ask(self, question: Callable[[Listener], Any], timeout_s: float = ANSWER_WITHIN_S) -> Any:
        """Put a question to the listener, from any thread; None where no sound comes in to ask about.

        The engine's own thread answers between two blocks, so that the listener is never read while it works.
        """
        if self._listener is None:
            return None
        answer: Future = Future()
        self._questions.append((question, answer))
        try:
            return answer.result(timeout_s)
        except TimeoutError:
            answer.cancel()
            return None

    def _run(self) -> None:
        try:
            for item in self.source.blocks(self._stop):
                if isinstance(item, Block):
                    if item.source_id == self.source.source_id:
                        self._take(item)
                    else:
                        self._sink.beside(item)
                else:
                    self._hear_of_source(item)
        except ShopmonError as exc:
            # a recording that cannot be read to its end is no fault of ours: say so and stay up
            self._hear_of_source(SourceNotice(code="recording-ended", text=exc.text, hint=exc.hint))
        except Exception as exc:
            # the process is ended by its owner and started afresh: a half-working monitor must not look alive
            log.exception("The listening engine failed")
            self.failure = exc
        finally:
            self._end_stream()
            self.finished.set()

    def _hear_of_source(self, notice: SourceNotice) -> None:
        if notice.code in ("device-lost", "recording-ended"):
            # a cut that is still open ends with the sound, before anybody hears that there is no more
            self._end_stream()
        if notice.code == "device-stalled":
            self.stalled_since_s = time.monotonic()
        self._sink.source_notice(notice)

    def _take(self, block: Block) -> None:
        self.stalled_since_s = None
        if block.stream_id != self._stream_id:
            self._end_stream()
            self._start_stream(block)
        # what was asked by now is answered with every change in force that was made before it was asked
        asked = len(self._questions)
        self._apply_changes(block.first_sample)
        if block.first_sample >= self._next_snapshot:
            self._take_snapshot(block)
        self._sink.block(block)
        self._tell(self._listener.feed(block))
        self._sample = block.end_sample
        self._answer(asked)

    def _answer(self, count: int) -> None:
        for _ in range(count):
            question, answer = self._questions.popleft()
            # who asked may have given up waiting
            if not answer.set_running_or_notify_cancel():
                continue
            try:
                answer.set_result(question(self._listener))
            except Exception as exc:
                # a question must not end the listening; who asked hears of it
                answer.set_exception(exc)

    def _start_stream(self, block: Block) -> None:
        self._stream_id = block.stream_id
        heard = [block.channels[column] for column in block.sound_columns]
        self._listener = self._new_listener(block.sample_rate_hz, heard)
        self._listener.change_setup(self._setup, block.first_sample)
        self._next_snapshot = block.first_sample
        form = SourceFormat(
            source_id=block.source_id,
            name=self.source.name,
            sample_rate_hz=block.sample_rate_hz,
            channels=block.channels,
            code_format=block.code_format,
        )
        self._sink.stream_started(block.stream_id, form)

    def _new_listener(self, sample_rate_hz: float, channels: Sequence[Channel]) -> Listener:
        """Go on from what was learned; where that cannot be read (it may come from elsewhere), begin anew."""
        try:
            return Listener(self.settings, sample_rate_hz, channels, self._learned)
        except (AttributeError, IndexError, KeyError, TypeError, ValueError) as exc:
            if self._learned is None:
                raise
            log.warning("What was learned before cannot be taken up (%r); it is learned anew.", exc)
            self._learned = None
            return Listener(self.settings, sample_rate_hz, channels, None)

    def _apply_changes(self, sample: int) -> None:
        while self._changes:
            self._setup, tell = self._changes.popleft()
            tell(self._stream_id, self._listener.change_setup(self._setup, sample))

    def _take_snapshot(self, block: Block) -> None:
        self._sink.snapshot(block.stream_id, block.first_sample, self._listener.snapshot())
        self._next_snapshot = block.first_sample + int(SNAPSHOT_EVERY_S * block.sample_rate_hz)

    def _end_stream(self) -> None:
        if self._listener is None:
            return
        self._tell(self._listener.finish())
        self._learned = learned(self._listener.snapshot())
        self._sink.stream_ended(self._stream_id, self._sample)
        self._listener = None
        self._stream_id = None

    def _tell(self, events: list[Event]) -> None:
        for event in events:
            self._sink.event(self._stream_id, event)
