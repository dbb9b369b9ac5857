"""Dated backups of a data folder, made while a monitor may be running, and read back before they count.

::

    shopmon-20261129-174412.zip    an archive each: the log, figures, photographs, programs
    recordings/                    the sound, where it was asked for: each file once, for all archives
"""

import hashlib
import re
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from shopmon.errors import StoreError
from shopmon.records.carrying import snapshot
from shopmon.records.carrying.containers import Progress
from shopmon.records.carrying.form import CHUNK_BYTES, Entry
from shopmon.records.carrying.packing import Packed, pack
from shopmon.records.folder import FolderPaths, sync, whole_file

NAME = re.compile(r"shopmon-(\d{8}-\d{6})(?:-\d+)?\.zip")


@dataclass(frozen=True, kw_only=True)
class Backup:
    """What a backup did.

    ``packed`` is None where only the database was copied; ``sound_new`` and ``sound_known`` count files of
    sound that were copied and that lay there already.
    """

    path: Path
    bytes: int
    packed: Packed | None
    rows: dict[str, int]
    sound_new: int = 0
    sound_known: int = 0
    removed: tuple[Path, ...] = ()


def back_up_into(
    data_dir: Path,
    folder: Path,
    *,
    with_audio: bool,
    keep: int,
    progress: Progress = lambda _: None,
    now_s: Callable[[], float] = time.time,
) -> Backup:
    """Add a dated archive to a folder of backups, and remove the oldest ones over `keep`.

    Parameters
    ----------
    data_dir
        The data folder; it is not locked or changed.
    folder
        Made where it does not exist.
    with_audio
        Copy the sound beside the archives, each file once.
    keep
        So many archives stay; 0 for all.

    Raises
    ------
    StoreError
        There is no log, or the disk does not take it. Earlier backups are untouched then.
    """
    _refuse_own_folder(folder, data_dir)
    sound = _Beside(folder, progress)
    packed = pack(
        data_dir,
        _free_name(folder, now_s()),
        with_audio=with_audio,
        progress=progress,
        elsewhere=sound.take if with_audio else None,
    )
    removed = _thin(folder, keep, packed.path)
    return Backup(
        path=packed.path,
        bytes=packed.bytes,
        packed=packed,
        rows=packed.manifest.rows,
        sound_new=sound.new,
        sound_known=sound.known,
        removed=removed,
    )


def back_up_database(data_dir: Path, target: Path) -> Backup:
    """Copy the database alone to a file that can be copied back over it; check the copy."""
    if target.exists():
        raise StoreError(
            f"{target} is there already.", "Give another name, or a folder: it keeps dated copies."
        )
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with whole_file(target) as fresh:
            snapshot.copy_database(FolderPaths(data_dir), fresh)
            with closing(sqlite3.connect(fresh)) as connection:
                rows = snapshot.row_counts(connection)
    except OSError as exc:
        if isinstance(exc, StoreError):
            raise
        raise StoreError(
            f"{target} cannot be written ({exc.strerror or exc}).", "Give another place."
        ) from exc
    return Backup(path=target, bytes=target.stat().st_size, packed=None, rows=rows)


def _refuse_own_folder(folder: Path, data_dir: Path) -> None:
    own, wanted = data_dir.resolve(), folder.resolve()
    if wanted == own or own in wanted.parents:
        raise StoreError(
            f"{folder} lies in the data folder itself.",
            "Give a folder on another disk: a USB stick, a network share.",
        )
    if folder.exists() and not folder.is_dir():
        raise StoreError(f"{folder} is no folder.", "Give a folder, or a new name that ends in .zip or .db.")


def _free_name(folder: Path, now_s: float) -> Path:
    stem = f"shopmon-{time.strftime('%Y%m%d-%H%M%S', time.localtime(now_s))}"
    path, number = folder / f"{stem}.zip", 1
    while path.exists():
        number += 1
        path = folder / f"{stem}-{number}.zip"
    return path


def _thin(folder: Path, keep: int, newest: Path) -> tuple[Path, ...]:
    """Remove the oldest archives by their names; the one just made always stays."""
    if keep <= 0:
        return ()
    known = sorted(path for path in folder.iterdir() if NAME.fullmatch(path.name) and path != newest)
    removed = known[: max(0, len(known) + 1 - keep)]
    for path in removed:
        path.unlink()
    return tuple(removed)


class _Beside:
    """Copies files of sound to a folder, each once."""

    def __init__(self, folder: Path, progress: Progress):
        self._folder, self._progress = folder, progress
        self.new = self.known = 0

    def take(self, source: Path) -> Entry:
        """Copy one file unless it is there with the same content."""
        digest, size = self._digest(source)
        target = self._folder / "recordings" / source.name
        if target.is_file() and target.stat().st_size == size and self._digest(target)[0] == digest:
            self.known += 1
        else:
            self._copy(source, target, digest)
            self.new += 1
        return Entry(path=f"recordings/{source.name}", bytes=size, sha256=digest, beside=True)

    def _copy(self, source: Path, target: Path, digest: str) -> None:
        target.parent.mkdir(parents=True, exist_ok=True)
        with whole_file(target) as fresh, source.open("rb") as file, fresh.open("wb") as copy:
            while chunk := file.read(CHUNK_BYTES):
                copy.write(chunk)
            copy.flush()
            if self._digest(fresh)[0] != digest:
                raise StoreError(f"{target} does not read back as it was written.", "Use another disk.")
        sync(target.parent)

    def _digest(self, path: Path) -> tuple[str, int]:
        digest, size = hashlib.sha256(), 0
        with path.open("rb") as file:
            while chunk := file.read(CHUNK_BYTES):
                digest.update(chunk)
                size += len(chunk)
        self._progress(size)
        return digest.hexdigest(), size
