"""The sensors beside the first, each with a desk of its own: calibrated and described like that one."""

from collections.abc import Callable

from shopmon.capture.source import Source
from shopmon.errors import SettingError
from shopmon.service.live_state import InputMeter
from shopmon.service.sensors_desk import SensorsDesk
from shopmon.signals.block import Block


class AllSensors:
    """The desks of all sources.

    Parameters
    ----------
    archive
        Keeps values with date and history.
    source
        What is listened to; it may bring other sources along.
    meter
        Of the first source, as `SensorsDesk` takes it.
    """

    def __init__(self, archive, source: Source, meter: Callable[[], tuple[float | None, float]]):
        self.first = SensorsDesk(archive, source, meter)
        self._first_id = source.source_id
        self._beside: dict[str, tuple[InputMeter, SensorsDesk]] = {}
        for other in getattr(source, "sources", (source,))[1:]:
            level = InputMeter(present=True)
            desk = SensorsDesk(archive, other, lambda level=level: (level.rms_db, level.clipped_share))
            self._beside[other.source_id] = (level, desk)

    def take(self, block: Block) -> None:
        """Take a block of a source beside the first; called by the engine's thread."""
        if block.source_id in self._beside:
            level, desk = self._beside[block.source_id]
            level.take(block)
            desk.take(block)

    def of(self, source_id: str | None) -> SensorsDesk:
        """Return the desk of a source; None is the first.

        Raises
        ------
        SettingError
            There is no such source.
        """
        if source_id in (None, "", self._first_id):
            return self.first
        if source_id not in self._beside:
            known = ", ".join([self._first_id, *self._beside])
            raise SettingError(f"There is no source {source_id[:40]!r} here.", f"There is: {known}.")
        return self._beside[source_id][1]
