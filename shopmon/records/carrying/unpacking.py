"""Takes an archive into a data folder: all of it or nothing, also when the plug is pulled meanwhile.

Everything is unpacked and checked in ``incoming/`` first. Then a plan of the files to be moved is put on the
disk, the files are moved, and one transaction takes in the rows and a row that says so. The next start that
finds the plan without that row takes the files out again.
"""

import filecmp
import json
import logging
import os
import shutil
import sqlite3
import uuid
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from shopmon.errors import StoreError
from shopmon.records.boot_clock import BootClock
from shopmon.records.carrying.checking import brought_up_to_date
from shopmon.records.carrying.containers import OpenedArchive, Progress, opened_archive
from shopmon.records.carrying.form import SAFE_NAME, Manifest
from shopmon.records.carrying.merging import Merged, as_store_error, highest_sequence, merge
from shopmon.records.database import open_database
from shopmon.records.folder import DATABASE_NAME, DataFolder, sync, whole_file

PLAN = "plan.json"
EVENT = "imported"
SPARE_BYTES = 100 * 2**20
WITH_SUFFIXES = (".state.json",)  # what belongs to a file and is in no row
log = logging.getLogger(__name__)


@dataclass(frozen=True, kw_only=True)
class Taken:
    """What an import did.

    ``missing`` are files that were to lie beside the archive, ``strange`` files that are here with other
    content and stay.
    """

    manifest: Manifest
    merged: Merged
    files: int
    bytes: int
    missing: list[str]
    strange: list[str]


def unpack(source: Path, data_dir: Path, progress: Progress = lambda _: None) -> Taken:
    """Take an archive into a data folder, which may be new, empty or in use by nobody.

    Raises
    ------
    StoreError
        The archive cannot be used, a monitor runs on the folder, or the disk does not take it. Nothing has
        changed then.
    """
    with opened_archive(source) as archive:
        existed = data_dir.exists()
        data = DataFolder(data_dir)
        began_empty = not data.database.exists()
        try:
            undo_half_an_import(data)
            _refuse_a_full_disk(archive.manifest, data)
            data.incoming.mkdir()
            brought = _unpacked(archive, data, progress)
            taken = _take_over(archive, data, brought)
        except BaseException as exc:
            _clear(data, began_empty=began_empty, existed=existed)
            if isinstance(exc, OSError) and not isinstance(exc, StoreError):
                hint = "Nothing was changed. Look at the free space of the disk."
                raise StoreError(f"The archive cannot be unpacked ({exc.strerror or exc}).", hint) from exc
            raise
        finally:
            data.unlock()
    return taken


def undo_half_an_import(data: DataFolder) -> None:
    """Take out what an import that was cut off left behind; one that had come to its end stays."""
    if not data.incoming.exists():
        return
    try:
        plan = json.loads((data.incoming / PLAN).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        plan = None  # it had not begun to move anything
    if plan is not None and not _has_event(data.database, plan["import_id"]):
        for name in plan["files"]:
            if SAFE_NAME.fullmatch(name):
                (data.root / name).unlink(missing_ok=True)
        log.warning("An import that was cut off has been taken back; import the archive again.")
    shutil.rmtree(data.incoming)


def _has_event(database: Path, import_id: str) -> bool:
    if not database.is_file():
        return False
    with closing(sqlite3.connect(database)) as connection:
        known = connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'events'").fetchone()
        return bool(
            known and connection.execute("SELECT 1 FROM events WHERE id = ?", (import_id,)).fetchone()
        )


def _clear(data: DataFolder, *, began_empty: bool, existed: bool) -> None:
    """Leave the folder as it was found."""
    try:
        undo_half_an_import(data)
        if not began_empty:
            return
        for suffix in ("", "-wal", "-shm"):
            data.database.with_name(data.database.name + suffix).unlink(missing_ok=True)
        if existed:
            return
        (data.root / "lock").unlink(missing_ok=True)
        for folder in (data.buffer, data.recordings, data.photos, data.programs, data.backups, data.root):
            if folder.is_dir() and not any(folder.iterdir()):
                folder.rmdir()
    except OSError:
        log.warning("What was unpacked could not be removed from %s.", data.incoming)


def _refuse_a_full_disk(manifest: Manifest, data: DataFolder) -> None:
    needed = manifest.total_bytes + SPARE_BYTES
    if data.free_bytes() < needed:
        raise StoreError(
            f"The archive unpacks to {manifest.total_bytes / 1e6:.0f} MB,"
            f" and {data.free_bytes() / 1e6:.0f} MB are free.",
            "Free some space, or give a folder on another disk with --data DIR.",
        )


def _unpacked(archive: OpenedArchive, data: DataFolder, progress: Progress) -> dict[str, Path]:
    """Write every file to its place in ``incoming/``; return them by name."""
    missing = {entry.path for entry in archive.missing()}
    brought = {}
    for entry in archive.manifest.files:
        if entry.path in missing:
            continue
        place = data.incoming / entry.path
        place.parent.mkdir(exist_ok=True)
        with place.open("xb") as file:
            for chunk in archive.read(entry, progress):
                file.write(chunk)
        sync(place)
        brought[entry.path] = place
    return brought


def _take_over(archive: OpenedArchive, data: DataFolder, brought: dict[str, Path]) -> Taken:
    incoming = brought[DATABASE_NAME]
    brought_up_to_date(incoming, archive.manifest.database_schema)
    open_database(data.database, data.backups).dispose()
    import_id = str(uuid.uuid4())
    try:
        with closing(sqlite3.connect(incoming)) as source, closing(_writing(data.database)) as target:
            target.execute("BEGIN IMMEDIATE")
            try:
                merged = merge(target, source)
                moving, strange = _to_be_moved(data, merged, brought)
                gone = _sound_that_is_missing(target, data, merged, brought)
                _plan(data, import_id, moving)
                _move(data, moving, brought)
                _say_so(target, import_id, archive.manifest, merged)
                target.execute("COMMIT")
            except BaseException:
                target.execute("ROLLBACK")
                raise
    except sqlite3.Error as exc:
        raise as_store_error(exc) from exc
    size = sum((data.root / name).stat().st_size for name in moving)
    shutil.rmtree(data.incoming, ignore_errors=True)
    return Taken(
        manifest=archive.manifest, merged=merged, files=len(moving), bytes=size, missing=gone, strange=strange
    )


def _writing(database: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(database, isolation_level=None)
    connection.execute("PRAGMA synchronous=FULL")
    return connection


def _to_be_moved(data: DataFolder, merged: Merged, brought: dict[str, Path]) -> tuple[list[str], list[str]]:
    wanted = merged.paths | {path + suffix for path in merged.paths for suffix in WITH_SUFFIXES}
    wanted |= {name for name in brought if name.startswith("programs/")}
    moving, strange = [], []
    for name in sorted(wanted & set(brought)):
        place = data.root / name
        if not place.exists():
            moving.append(name)
        elif not filecmp.cmp(place, brought[name], shallow=False):
            strange.append(name)
    return moving, strange


def _sound_that_is_missing(target, data: DataFolder, merged: Merged, brought: dict[str, Path]) -> list[str]:
    """A row must not promise sound that did not come along."""
    filed = target.execute("SELECT id, path FROM recordings WHERE state = 'filed'").fetchall()
    gone = [
        (recording_id, path)
        for recording_id, path in filed
        if path in merged.paths and path not in brought and not (data.root / path).exists()
    ]
    for recording_id, _ in gone:
        target.execute(
            "UPDATE recordings SET state = 'figures-only', path = NULL, audio_bytes = 0 WHERE id = ?",
            (recording_id,),
        )
    return [path for _, path in gone]


def _plan(data: DataFolder, import_id: str, moving: list[str]) -> None:
    with whole_file(data.incoming / PLAN) as fresh:
        fresh.write_text(json.dumps({"import_id": import_id, "files": moving}), encoding="utf-8")
    sync(data.incoming)


def _move(data: DataFolder, moving: list[str], brought: dict[str, Path]) -> None:
    folders = {(data.root / name).parent for name in moving}
    for folder in folders:
        folder.mkdir(exist_ok=True)
    for name in moving:
        os.rename(brought[name], data.root / name)
    for folder in folders | {data.root}:
        sync(folder)


def _say_so(target, import_id: str, manifest: Manifest, merged: Merged) -> None:
    clock = BootClock.this_boot()
    told = {
        "text": f"An archive was imported: {merged.added['cuts']} cuts.",
        "program": manifest.program,
        "made_at": manifest.made_at,
        "added": dict(merged.added),
    }
    target.execute(
        "INSERT INTO events (id, sequence, boot_id, monotonic_s, kind, data) VALUES (?, ?, ?, ?, ?, ?)",
        (import_id, highest_sequence(target) + 1, clock.boot_id, clock.now_s(), EVENT, json.dumps(told)),
    )
