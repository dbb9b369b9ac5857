"""Makes archives of a data folder, also while a monitor writes to it."""

import sqlite3
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from shopmon import __version__
from shopmon.errors import StoreError
from shopmon.records.carrying import snapshot
from shopmon.records.carrying.containers import Filling, Progress, new_archive, opened_archive
from shopmon.records.carrying.form import Entry, Manifest
from shopmon.records.folder import DATABASE_NAME, FolderPaths

Elsewhere = Callable[[Path], Entry]  # puts a file of sound beside the archive


@dataclass(frozen=True, kw_only=True)
class Packed:
    """An archive that was made and read back: where it is, what is in it, how large it is."""

    path: Path
    manifest: Manifest
    bytes: int


@dataclass(frozen=True, kw_only=True)
class Size:
    """What an export would hold: cuts, files, and bytes with and without the sound."""

    cuts: int
    recordings: int
    sound_bytes: int
    other_bytes: int


def measure(data_dir: Path, only_cuts: Sequence[str] = ()) -> Size:
    """Tell how much an export would be, without making it.

    Raises
    ------
    StoreError
        There is no log that could be read.
    SettingError
        There is no such cut.
    """
    data = FolderPaths(data_dir)
    with tempfile.TemporaryDirectory(prefix="shopmon-") as place:
        copy = Path(place) / DATABASE_NAME
        snapshot.copy_database(data, copy)
        with closing(sqlite3.connect(copy)) as connection:
            _trimmed(connection, only_cuts)
            found = snapshot.contents(connection, data, everything=not only_cuts)
            cuts = connection.execute("SELECT count(*) FROM cuts").fetchone()[0]
        return Size(
            cuts=cuts,
            recordings=len(found.sound),
            sound_bytes=sum(_size(path) for files in found.sound.values() for path in files),
            other_bytes=sum(map(_size, found.other)) + copy.stat().st_size,
        )


def pack(
    data_dir: Path,
    target: Path,
    *,
    with_audio: bool,
    only_cuts: Sequence[str] = (),
    progress: Progress = lambda _: None,
    elsewhere: Elsewhere | None = None,
) -> Packed:
    """Make an archive of a data folder and read it back.

    Parameters
    ----------
    data_dir
        The data folder; nothing in it is changed or locked.
    target
        A zip where the name ends so, else a folder.
    with_audio
        Take the sound along.
    only_cuts
        Ids, whole or by their first eight letters; none for everything.
    progress
        Told the bytes that were written or read back since the last call.
    elsewhere
        Puts sound beside the archive instead of into it.

    Raises
    ------
    StoreError
        There is no log, the target is there already, or the disk does not take it; nothing is left then.
    SettingError
        There is no such cut.
    """
    if target.exists():
        raise StoreError(f"{target} is there already.", "Give another name, or remove it first.")
    data = FolderPaths(data_dir)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".shopmon-", dir=target.parent) as place:
            manifest = _written(
                data, target, Path(place) / DATABASE_NAME, with_audio, only_cuts, progress, elsewhere
            )
    except OSError as exc:
        if isinstance(exc, StoreError):
            raise
        hint = "Look at the free space of that disk, or give another place."
        raise StoreError(f"{target} cannot be written ({exc.strerror or exc}).", hint) from exc
    with opened_archive(target) as archive:
        archive.check(progress)
    return Packed(path=target, manifest=manifest, bytes=_size_of(target))


def _written(data, target, copy, with_audio, only_cuts, progress, elsewhere) -> Manifest:
    schema = snapshot.copy_database(data, copy)
    with closing(sqlite3.connect(copy)) as connection:
        left_out = _trimmed(connection, only_cuts)
        ids = (
            [row[0] for row in connection.execute("SELECT id FROM cuts ORDER BY sequence")]
            if only_cuts
            else None
        )
        if not with_audio:
            silent = snapshot.without_sound(connection)
            left_out += [f"The sound of {silent} recordings: it was not asked for."] if silent else []
        with new_archive(target, progress) as filling:
            files = snapshot.contents(connection, data, everything=not only_cuts)
            beside = _take_sound(files, data, filling, elsewhere, connection, left_out)
            _take_others(files, data, filling, left_out)
            snapshot.tidy(connection)
            filling.take(DATABASE_NAME, copy)
            manifest = Manifest(
                program=__version__,
                database_schema=schema,
                made_at=round(time.time(), 3),
                with_audio=with_audio,
                only_cuts=ids,
                rows=snapshot.row_counts(connection),
                left_out=left_out,
                files=[*filling.entries, *beside],
            )
            filling.finish(manifest.as_json())
    return manifest


def _trimmed(connection: sqlite3.Connection, only_cuts: Sequence[str]) -> list[str]:
    wanted = snapshot.whole_ids(connection, only_cuts)
    left_out = snapshot.take_out_what_cannot_travel(connection)
    if only_cuts:
        snapshot.keep_only(connection, wanted)
        left_out.append("Everything that has nothing to do with the chosen cuts.")
    connection.commit()
    return left_out


def _take_sound(
    files: snapshot.Contents,
    data: FolderPaths,
    filling: Filling,
    elsewhere: Elsewhere | None,
    connection: sqlite3.Connection,
    left_out: list[str],
) -> list[Entry]:
    gone, beside = [], []
    for recording_id, (audio, sidecar) in files.sound.items():
        for path in (audio, sidecar):
            try:
                if elsewhere is None:
                    filling.take(data.relative(path), path)
                else:
                    beside.append(elsewhere(path))
            except FileNotFoundError:
                if path is audio:
                    gone.append(recording_id)
                    break
    if gone:
        snapshot.sound_is_gone(connection, gone)
        left_out.append(f"The sound of {len(gone)} recordings: the files are not there any more.")
    return beside


def _take_others(files: snapshot.Contents, data: FolderPaths, filling: Filling, left_out: list[str]) -> None:
    gone = 0
    for path in files.other:
        try:
            filling.take(data.relative(path), path)
        except FileNotFoundError:
            gone += 1
    if gone:
        left_out.append(f"Figures and pictures whose files are not there any more: {gone}.")


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _size_of(target: Path) -> int:
    if target.is_file():
        return _size(target)
    return sum(_size(path) for path in target.rglob("*") if path.is_file())
