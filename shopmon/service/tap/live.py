"""The guided tap test on the command line: listens to a source until there are enough good hits."""

import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from shopmon.errors import DeviceError, RecordingError
from shopmon.service.settings import load_settings
from shopmon.service.start import make_source
from shopmon.service.tap.judging import CAUTIONS, TapSettings
from shopmon.service.tap.session import TapChannels, TapSession
from shopmon.signals.block import Block


@dataclass(frozen=True)
class Live:
    """What to listen to.

    Attributes
    ----------
    source, device
        As for ``shopmon listen``.
    settings_file
        None for the usual one.
    channels
        Which is what.
    wanted
        How many good hits.
    """

    source: str
    device: str | None
    settings_file: Path | None
    channels: TapChannels
    wanted: int


def hear_hits(settings: TapSettings, live: Live, tell: Callable[[str], None]) -> dict:
    """Run a tap test, cautions first; return ``shopmon.tap/1``.

    Raises
    ------
    DeviceError
        The sensor is not there, or is lost.
    RecordingError
        There is nothing to judge at the end.
    """
    for caution in CAUTIONS:
        tell(f"  ! {caution}")
    session = TapSession(settings, live.channels, live.wanted)
    source = make_source(live.source, live.device, load_settings(live.settings_file))
    stop = threading.Event()
    tell(session.said)
    try:
        for item in source.blocks(stop):
            if isinstance(item, Block):
                for words in session.take(item):
                    tell(words)
            elif item.code in ("device-lost", "device-stalled"):
                raise DeviceError(item.text, item.hint or "Plug the sensor in, then begin again.")
            if session.status in ("done", "failed"):
                break
    except KeyboardInterrupt:
        session.finish()
    finally:
        stop.set()
        source.close()
    if session.result is None and session.error is None:
        session.finish()  # the recording that was played has ended
    if session.error is not None:
        raise session.error
    if session.result is None:
        raise RecordingError("There is no result.", "Begin again.")
    return session.result
