"""The one interface of everything that delivers sound.

A source emits what it received, as it was received: nothing filled in, nothing derived, trouble marked as
trouble.
"""

import threading
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

from shopmon.signals.block import Block, Channel, CodeFormat


@dataclass(frozen=True, kw_only=True)
class SourceFormat:
    """What the source delivers right now, as read back after opening."""

    source_id: str
    name: str
    sample_rate_hz: float
    channels: tuple[Channel, ...]
    code_format: CodeFormat


@dataclass(frozen=True, kw_only=True)
class SourceNotice:
    """Something happened to the source itself.

    ``code`` is one of ``device-opened``, ``device-lost``, ``device-returned``, ``device-stalled``,
    ``input-silent`` (exactly constant samples), ``input-back``, ``input-overflow``, ``consumer-slow``,
    ``input-late`` (fewer frames than the clock says), ``recording-truncated`` (cut short or damaged, what
    could be read was delivered), ``recording-ended``. Of sampler boards also ``board-dropped``,
    ``line-lost``, ``line-garbled``, ``board-restarted`` (a new stream begins) and ``rate-unfit`` (cannot be
    listened to) and ``sensor-unknown``; of accelerometers ``range-absurd``, ``temperature-absurd`` and
    ``rate-wrong`` (what the sensor says of itself cannot be). Of a source beside the first the code begins
    with ``other-``.
    """

    code: str
    text: str
    hint: str = ""


class Source(Protocol):
    """A stream of blocks and notices."""

    source_id: str
    name: str

    def blocks(self, stop: threading.Event) -> Iterator[Block | SourceNotice]:
        """Yield blocks and notices in order until `stop` is set or the source is exhausted.

        A live source never ends by itself: a lost device gives a notice, then waits for its return. The first
        item is a ``device-opened`` notice or a ``device-lost`` one. May block, but looks at `stop` at least
        ten times a second.
        """

    @property
    def format(self) -> SourceFormat | None:
        """What is being delivered, None while the device is away."""

    def close(self) -> None:
        """Release the device; calling it twice is harmless."""
