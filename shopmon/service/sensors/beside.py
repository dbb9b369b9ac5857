"""The sensors of all sources, each with a desk of its own, and which of them measures vibration."""

from collections.abc import Callable

from shopmon.capture.source import Source, SourceFormat
from shopmon.errors import SettingError
from shopmon.service.live_state import InputMeter
from shopmon.service.sensors.desk import SensorsDesk
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

    Attributes
    ----------
    first
        Desk of the first source.
    vibration
        Desk of the first accelerometer, else of the first source: for tap test and spindle check.
    """

    def __init__(self, archive, source: Source, meter: Callable[[], tuple[float | None, float]]):
        self.first = SensorsDesk(archive, source, meter)
        self._first_id = source.source_id
        self._beside: dict[str, tuple[InputMeter, SensorsDesk]] = {}
        others = getattr(source, "sources", (source,))[1:]
        for other in others:
            level = InputMeter(present=True)
            desk = SensorsDesk(archive, other, lambda level=level: (level.rms_db, level.clipped_share))
            self._beside[other.source_id] = (level, desk)
        self._shaken = next((each for each in (source, *others) if _is_accelerometer(each)), source)
        self.vibration = self.of(self._shaken.source_id)
        self._listeners: tuple[Callable[[Block], None], ...] = ()

    def vibration_format(self) -> SourceFormat | None:
        """Return what the source of `vibration` delivers, None while it is away."""
        return self._shaken.format

    def hand_vibration_to(self, *takes: Callable[[Block], None]) -> None:
        """Name who takes the blocks of the source of `vibration`."""
        self._listeners = takes

    def take(self, block: Block) -> None:
        """Take a block of any source, as it came from that; called by the engine's thread."""
        if block.source_id in self._beside:
            level, desk = self._beside[block.source_id]
            level.take(block)
            desk.take(block)
        elif block.source_id == self._first_id:
            self.first.take(block)
        if block.source_id == self._shaken.source_id:
            for take in self._listeners:
                take(block)

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


def _is_accelerometer(source: Source) -> bool:
    form = source.format  # a device that is waited for says nothing yet of its format
    kinds = {channel.kind for channel in form.channels} if form else {getattr(source, "sensor", None)}
    return "accelerometer" in kinds
