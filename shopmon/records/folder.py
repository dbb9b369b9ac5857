"""The data folder: where things lie in it, and that one process at a time uses it.

::

    shopmon.db          the database (with -wal and -shm beside it while in use)
    lock                held while a monitor runs on this folder
    backups/            copies of the database made before a migration
    buffer/ID/          the rolling buffer of one stream: short segments of audio, features, listener states
    recordings/         ID.flac or ID.wav, beside it ID.flac.state.json; ID.features.npz
    pictures/           pictures of long recordings; made again where they are missing
    photos/             ID.jpg, ID.png or ID.webp
    programs/           ID.nc, the text of an NC program as it was loaded
    incoming/           what an import has unpacked and not yet taken over
"""

import errno
import fcntl
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from shopmon.errors import StoreError

DATABASE_NAME = "shopmon.db"
CARRIED = ("recordings", "photos", "programs")  # what an export takes along beside the database


class FolderPaths:
    """The paths inside one data folder; looking at them makes and locks nothing.

    Parameters
    ----------
    root
        The folder.
    """

    def __init__(self, root: Path):
        self.root = Path(root)
        self.database = self.root / DATABASE_NAME
        self.backups = self.root / "backups"
        self.buffer = self.root / "buffer"
        self.recordings = self.root / "recordings"
        self.photos = self.root / "photos"
        self.pictures = self.root / "pictures"
        self.programs = self.root / "programs"
        self.incoming = self.root / "incoming"

    def relative(self, path: Path) -> str:
        """Return `path` as it is written in the database."""
        return path.relative_to(self.root).as_posix()

    def free_bytes(self) -> int:
        """Return what is free on the disk for this program."""
        return shutil.disk_usage(self.root).free


class DataFolder(FolderPaths):
    """The paths inside one data folder, and the lock on it.

    Parameters
    ----------
    root
        Made with its parents where it does not exist.

    Raises
    ------
    StoreError
        It is a file, cannot be written, or another monitor uses it.
    """

    def __init__(self, root: Path):
        super().__init__(root)
        self._lock: int | None = None
        try:
            for folder in (self.root, self.buffer, self.recordings):
                folder.mkdir(parents=True, exist_ok=True)
            self._take_lock()
        except OSError as exc:
            if isinstance(exc, StoreError):
                raise
            hint = "Give a folder that you may write, with --data DIR."
            if exc.errno == errno.ENOSPC:
                hint = "Free some space on the disk, or give a folder on another one with --data DIR."
            text = f"The data folder {self.root} cannot be used ({exc.strerror})."
            raise StoreError(text, hint) from exc

    def unlock(self) -> None:
        """Let another process have the folder; calling it twice is harmless."""
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None

    def _take_lock(self) -> None:
        lock = os.open(self.root / "lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as exc:
            owner = os.read(lock, 32).decode("ascii", "replace").strip()
            os.close(lock)
            raise StoreError(
                f"Another monitor already uses the data folder {self.root} (process {owner or 'unknown'}).",
                "Stop it first, or give this one another folder with --data DIR.",
            ) from exc
        os.ftruncate(lock, 0)
        os.pwrite(lock, str(os.getpid()).encode(), 0)
        self._lock = lock


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Give a place to write to; what stands there at the end becomes `path`, whole or not at all.

    Raises
    ------
    OSError
        The disk does not take it; nothing is left beside `path` then.
    """
    temporary = path.with_name(path.name + ".tmp")
    try:
        yield temporary
        sync(temporary)
        os.replace(temporary, path)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise


def sync(path: Path) -> None:
    """Make what a file holds, or the names in a folder, outlast a power cut."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
