"""How much is on the disk: counts and bytes of what a data folder holds.

Files of a log are written once, under a name of their own, so a folder is looked through again only when
something came or went in it.
"""

import os
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from shopmon.records.sound.space import folder_bytes

SETTLED_S = 2.0  # a change within one tick of the disk's clock would not show
FIGURES = ".npz"
_seen: dict[Path, tuple[int, Counter[str]]] = {}


@dataclass(frozen=True, kw_only=True)
class Held:
    """What there is.

    ``sound_bytes`` are recordings with their sidecars, ``buffer_bytes`` the rolling buffer, ``log_bytes`` the
    database, ``picture_bytes`` pictures of long recordings, which are made again when they are missing,
    ``backup_bytes`` copies of the database, ``other_bytes`` figures, photographs and programs.
    """

    folder: str
    cuts: int
    recordings: int
    tools: int
    sound_bytes: int
    buffer_bytes: int
    log_bytes: int
    picture_bytes: int
    backup_bytes: int
    other_bytes: int
    free_bytes: int

    @property
    def total_bytes(self) -> int:
        """All of it."""
        kept = self.sound_bytes + self.buffer_bytes + self.log_bytes
        return kept + self.picture_bytes + self.backup_bytes + self.other_bytes


def held(log) -> Held:
    """Add up what a data folder holds.

    Parameters
    ----------
    log
        `shopmon.records.reading.Reader`.
    """
    data, counts = log.folder, log.counts()
    recordings = bytes_by_suffix(data.recordings)
    database = sum(
        path.stat().st_size
        for suffix in ("", "-wal", "-shm")
        if (path := data.database.with_name(data.database.name + suffix)).exists()
    )
    return Held(
        folder=str(data.root),
        **counts,
        sound_bytes=recordings.total() - recordings[FIGURES],
        buffer_bytes=folder_bytes(data.buffer),
        log_bytes=database,
        picture_bytes=bytes_by_suffix(data.pictures).total(),
        backup_bytes=bytes_by_suffix(data.backups).total(),
        other_bytes=recordings[FIGURES]
        + bytes_by_suffix(data.photos).total()
        + bytes_by_suffix(data.programs).total(),
        free_bytes=data.free_bytes(),
    )


def bytes_by_suffix(folder: Path) -> Counter[str]:
    """Return the bytes of a folder's files by what their names end with; empty where there is none."""
    try:
        changed_ns = folder.stat().st_mtime_ns
    except OSError:
        return Counter()
    known = _seen.get(folder)
    if known is not None and known[0] == changed_ns:
        return known[1]
    found: Counter[str] = Counter()
    with os.scandir(folder) as entries:
        for entry in entries:
            try:
                if entry.is_file(follow_symlinks=False):
                    found[os.path.splitext(entry.name)[1]] += entry.stat(follow_symlinks=False).st_size
            except OSError:
                continue  # deleted meanwhile
    if time.time_ns() - changed_ns > SETTLED_S * 1e9:
        _seen[folder] = changed_ns, found
    return found
