"""Which boot this is, how long it has been running, and what wall time that was.

A Pi without a clock chip starts with a wrong date. Rows therefore carry the boot and its monotonic time; wall
time is that plus the boot's offset, known once a trusted clock has been seen, and then for the whole boot.
"""

import time
import uuid
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from shopmon.records.tables import clock_offsets


@dataclass(frozen=True)
class BootClock:
    """Identity of this boot and its running time.

    Attributes
    ----------
    boot_id
        The kernel's random id of this boot; where there is none, one of this process.
    """

    boot_id: str

    @classmethod
    def this_boot(cls) -> "BootClock":
        """Ask the kernel."""
        try:
            return cls(Path("/proc/sys/kernel/random/boot_id").read_text().strip())
        except OSError:
            return cls(str(uuid.uuid4()))

    def now_s(self) -> float:
        """Seconds since the boot, time asleep included where the system counts it."""
        if hasattr(time, "CLOCK_BOOTTIME"):
            return time.clock_gettime(time.CLOCK_BOOTTIME)
        return time.monotonic()


def wall_offsets(connection: sa.Connection) -> dict[str, float]:
    """Return the wall offset in seconds of every boot that saw a trusted clock; the newest word counts."""
    return {row.boot_id: row.wall_offset_s for row in connection.execute(newest_offsets())}


def newest_offsets() -> sa.Select:
    """Select ``boot_id`` and ``wall_offset_s`` of each boot that saw a trusted clock, as said last."""
    # SQLite takes the other columns from the row that holds the maximum (its documentation of SELECT, 3.4)
    newest = sa.func.max(clock_offsets.c.sequence)
    columns = (clock_offsets.c.boot_id, clock_offsets.c.wall_offset_s, newest)
    return sa.select(*columns).group_by(clock_offsets.c.boot_id)
