"""What every row carries: a random id, the boot, the monotonic time and a sequence number."""

import threading
import uuid

import sqlalchemy as sa

from shopmon.records.boot_clock import BootClock
from shopmon.records.tools.tables import metadata


class Stamps:
    """Gives out stamps; the sequence is that of the calls, from whatever thread they come.

    Parameters
    ----------
    clock
        This boot.
    last_sequence
        The highest number in the database.
    """

    def __init__(self, clock: BootClock, last_sequence: int):
        self.clock = clock
        self._last = last_sequence
        self._lock = threading.Lock()

    @classmethod
    def of(cls, connection: sa.Connection, clock: BootClock) -> "Stamps":
        """Go on after the highest number in any table."""
        highest = 0
        for table in metadata.sorted_tables:
            found = connection.execute(sa.select(sa.func.max(table.c.sequence))).scalar()
            highest = max(highest, found or 0)
        return cls(clock, highest)

    def new(self, row_id: str | None = None) -> dict:
        """Return the stamp of a new row."""
        with self._lock:
            self._last += 1
            return {
                "id": row_id or str(uuid.uuid4()),
                "sequence": self._last,
                "boot_id": self.clock.boot_id,
                "monotonic_s": self.clock.now_s(),
            }
