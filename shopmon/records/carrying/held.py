"""How much is on the disk: counts and bytes of what a data folder holds."""

from dataclasses import dataclass

from shopmon.records.space import folder_bytes


@dataclass(frozen=True, kw_only=True)
class Held:
    """What there is.

    ``sound_bytes`` are recordings with their sidecars, ``buffer_bytes`` the rolling buffer, ``log_bytes`` the
    database, ``other_bytes`` figures, photographs and programs.
    """

    folder: str
    cuts: int
    recordings: int
    tools: int
    sound_bytes: int
    buffer_bytes: int
    log_bytes: int
    other_bytes: int
    free_bytes: int

    @property
    def total_bytes(self) -> int:
        """All of it."""
        return self.sound_bytes + self.buffer_bytes + self.log_bytes + self.other_bytes


def held(log) -> Held:
    """Add up what a data folder holds.

    Parameters
    ----------
    log
        `shopmon.records.reading.Reader`.
    """
    data, counts = log.folder, log.counts()
    figures = sum(path.stat().st_size for path in data.recordings.glob("*.npz"))
    sound = folder_bytes(data.recordings) - figures
    database = sum(
        path.stat().st_size
        for suffix in ("", "-wal", "-shm")
        if (path := data.database.with_name(data.database.name + suffix)).exists()
    )
    return Held(
        folder=str(data.root),
        **counts,
        sound_bytes=sound,
        buffer_bytes=folder_bytes(data.buffer),
        log_bytes=database,
        other_bytes=figures + folder_bytes(data.photos) + folder_bytes(data.programs),
        free_bytes=data.free_bytes(),
    )
