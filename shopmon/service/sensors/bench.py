"""One sensor opened for the command line: looked at, described, calibrated, and let go again."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from shopmon.capture.source import Source, SourceNotice
from shopmon.errors import DeviceError, ShopmonError, StoreError
from shopmon.records.archive import Archive
from shopmon.records.looking import looking_at
from shopmon.service.clock import trusted_clock
from shopmon.service.live_state import InputMeter
from shopmon.service.sensors.desk import SensorsDesk
from shopmon.service.settings import Settings
from shopmon.service.start import make_source
from shopmon.signals.block import Block

OPEN_S, SETTLE_S, END_S = 15.0, 1.0, 5.0


class SensorBench:
    """Reads a source in a thread, for a desk that measures.

    Parameters
    ----------
    source
        The sensor.
    archive
        Keeps values with their date.
    """

    def __init__(self, source: Source, archive):
        self.source = source
        self.remarks: list[SourceNotice] = []
        self._meter = InputMeter()
        self.desk = SensorsDesk(archive, source, lambda: (self._meter.rms_db, self._meter.clipped_share))
        self._trouble: ShopmonError | None = None
        self._news, self._stop = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._read, name="sensor", daemon=True)
        self._thread.start()

    def wait(self) -> None:
        """Wait until it delivers, and for a moment more, so that its level is known.

        Raises
        ------
        DeviceError
            It is not there, or nothing comes.
        """
        if not self._news.wait(OPEN_S):
            raise DeviceError(
                "Nothing comes from the sensor.", "See its plug, its cable and 'shopmon devices'."
            )
        if self._trouble is None:
            self._stop.wait(SETTLE_S)
        if self._trouble is not None:
            raise self._trouble

    def close(self) -> None:
        """Let the sensor go."""
        self._stop.set()
        self._thread.join(END_S)
        self.source.close()

    def _read(self) -> None:
        try:
            for item in self.source.blocks(self._stop):
                if isinstance(item, Block):
                    self._meter.present = True
                    self._meter.take(item)
                    self.desk.take(item)
                    self._news.set()
                elif item.code in ("device-lost", "device-stalled", "recording-ended"):
                    self._fail(DeviceError(item.text, item.hint))
                elif item.hint:
                    self.remarks.append(item)
        except ShopmonError as exc:
            self._fail(exc)

    def _fail(self, trouble: ShopmonError) -> None:
        self._trouble, self._meter.present = trouble, False
        self._news.set()


@contextmanager
def sensor_bench(spec: str, device: str | None, data_dir: Path, settings: Settings) -> Iterator[SensorBench]:
    """Open one sensor and what is kept of it.

    Parameters
    ----------
    spec, device
        As for ``shopmon listen``.
    data_dir
        Folder of the log; begun where there is none.
    settings
        With the sources' names.

    Raises
    ------
    StoreError
        A running monitor has the folder, or it cannot be used.
    DeviceError
        The sensor is not there.
    """
    try:
        archive = Archive.open(
            data_dir,
            budget_bytes=settings.storage.budget_bytes,
            buffer_s=0.0,
            keep_audio=settings.storage.keep_audio,
        )
    except StoreError as exc:
        running = "already uses" in exc.text
        hint = "While the monitor runs, use its page Sensors." if running else exc.hint
        raise StoreError(exc.text, hint) from None
    try:
        if origin := trusted_clock():
            archive.set_clock(time.time(), origin)
        bench = SensorBench(make_source(spec, device, settings), archive)
        try:
            bench.wait()
            yield bench
        finally:
            bench.close()
            archive.flush()
    finally:
        archive.close()


def known_sensors(data_dir: Path, settings: Settings) -> dict[str, Any]:
    """Return the sources of the settings with what is kept of each; no device is opened.

    Returns
    -------
    dict
        ``shopmon.sensor-list/1``.
    """
    kept: dict[str, dict[str, Any]] = {name: {} for name in settings.sources}
    try:
        with looking_at(data_dir) as log:
            for name, found in kept.items():
                found["sensor"] = log.value(f"sensor {name}") or {}
                history = log.value_history(f"calibration {name}")
                found["calibration"] = (
                    {**history[-1]["value"], "t": history[-1].get("t")} if history else None
                )
    except StoreError:
        if (data_dir / "shopmon.db").exists():
            raise
    return {
        "schema": "shopmon.sensor-list/1",
        "sources": [
            {
                "source": name,
                "kind": settings.sources[name].kind,
                "device": settings.sources[name].device,
                "part": found.get("sensor", {}).get("part"),
                "mounting": found.get("sensor", {}).get("mounting"),
                "calibration": found.get("calibration"),
            }
            for name, found in kept.items()
        ],
    }
