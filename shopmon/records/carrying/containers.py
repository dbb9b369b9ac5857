"""Where an archive's files lie: in a zip or in a folder; written, read and checked in the same way."""

import hashlib
import os
import shutil
import stat
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import BinaryIO

from shopmon.errors import StoreError
from shopmon.records.carrying.form import (
    CHUNK_BYTES,
    LARGEST_MANIFEST_BYTES,
    MANIFEST,
    Entry,
    Manifest,
    bad_archive,
    read_manifest,
)
from shopmon.records.folder import DATABASE_NAME, sync, whole_file

Progress = Callable[[int], None]  # told the bytes that were done since it was last called
MOST_PACKED = 200  # times smaller than what it unpacks to: more than a log ever packs
DAMAGE = (
    zipfile.BadZipFile,
    zipfile.LargeZipFile,
    zlib.error,
    EOFError,
    NotImplementedError,
    RuntimeError,
    ValueError,
)


class Filling:
    """An archive that is being written; what it takes is read once and its checksum kept.

    Parameters
    ----------
    put
        Opens a place for a name and a size.
    progress
        Told as it goes.
    """

    def __init__(self, put: Callable[[str, int], BinaryIO], progress: Progress):
        self._put, self._progress = put, progress
        self.entries: list[Entry] = []

    def take(self, path: str, source: Path) -> None:
        """Take a file in.

        Raises
        ------
        FileNotFoundError
            It is gone; nothing was taken.
        """
        with source.open("rb") as file:
            size = os.fstat(file.fileno()).st_size
            digest, taken = hashlib.sha256(), 0
            with self._put(path, size) as target:
                while chunk := file.read(CHUNK_BYTES):
                    target.write(chunk)
                    digest.update(chunk)
                    taken += len(chunk)
                    self._progress(len(chunk))
        self.entries.append(Entry(path=path, bytes=taken, sha256=digest.hexdigest()))

    def finish(self, manifest: bytes) -> None:
        """Write the manifest: the last file."""
        with self._put(MANIFEST, len(manifest)) as target:
            target.write(manifest)


@contextmanager
def new_archive(target: Path, progress: Progress) -> Iterator[Filling]:
    """Write an archive, a zip where the name ends so and else a folder, that is there whole or not at all."""
    if target.suffix.lower() != ".zip":
        with _new_folder(target, progress) as filling:
            yield filling
        return
    with whole_file(target) as fresh, zipfile.ZipFile(fresh, "w", allowZip64=True) as packed:

        def put(path: str, size: int) -> BinaryIO:
            info = zipfile.ZipInfo(path)  # no dates: the computer's clock may be wrong
            info.compress_type = zipfile.ZIP_DEFLATED if path == DATABASE_NAME else zipfile.ZIP_STORED
            info.external_attr = 0o644 << 16
            return packed.open(info, "w", force_zip64=size > 2**30)

        yield Filling(put, progress)


@contextmanager
def _new_folder(target: Path, progress: Progress) -> Iterator[Filling]:
    fresh = target.with_name(target.name + ".tmp")
    fresh.mkdir(parents=True)

    def put(path: str, size: int) -> BinaryIO:
        place = fresh / path
        place.parent.mkdir(exist_ok=True)
        return place.open("wb")

    try:
        yield Filling(put, progress)
        for folder, _, names in os.walk(fresh):
            for name in names:
                sync(Path(folder) / name)
            sync(Path(folder))
        fresh.rename(target)
    except BaseException:
        shutil.rmtree(fresh, ignore_errors=True)
        raise


class OpenedArchive:
    """An archive to read from.

    Attributes
    ----------
    manifest
        What it says of itself, checked against what is there.
    """

    def __init__(self, manifest: Manifest, opener: Callable[[str], BinaryIO], beside: Path):
        self.manifest, self._opener, self._beside = manifest, opener, beside

    def missing(self) -> list[Entry]:
        """Return the files that were to lie beside the archive and do not."""
        return [entry for entry in self.manifest.files if entry.beside and not self._path(entry).is_file()]

    def read(self, entry: Entry, progress: Progress) -> Iterator[bytes]:
        """Yield a file in pieces; its size and checksum have been checked when the last one was given.

        Raises
        ------
        StoreError
            It is damaged.
        """
        digest, left = hashlib.sha256(), entry.bytes
        try:
            with self._open(entry) as source:
                while chunk := source.read(CHUNK_BYTES):
                    left -= len(chunk)
                    if left < 0:
                        break
                    digest.update(chunk)
                    progress(len(chunk))
                    yield chunk
        except (*DAMAGE, OSError) as exc:
            raise _damaged(entry, str(exc)) from exc
        if left or digest.hexdigest() != entry.sha256:
            raise _damaged(
                entry, "its checksum is another one" if not left else "it is too long or too short"
            )

    def check(self, progress: Progress) -> None:
        """Read everything and compare; raises StoreError where anything is damaged."""
        gone = {entry.path for entry in self.missing()}
        for entry in self.manifest.files:
            if entry.path not in gone:
                for _ in self.read(entry, progress):
                    pass

    def _open(self, entry: Entry) -> BinaryIO:
        return self._path(entry).open("rb") if entry.beside else self._opener(entry.path)

    def _path(self, entry: Entry) -> Path:
        return self._beside / entry.path


def _damaged(entry: Entry, why: str) -> StoreError:
    hint = "Copy it again from where it comes from, or make a new one; nothing was changed here."
    return StoreError(f"The archive is damaged at {entry.path} ({why}).", hint)


@contextmanager
def opened_archive(source: Path) -> Iterator[OpenedArchive]:
    """Open an archive and check that it holds what it says, no more and no less.

    Raises
    ------
    StoreError
        It is not there, is none of ours, is cut short, or holds what has no place in it.
    """
    with ExitStack() as stack:
        if source.is_dir():
            yield _opened_folder(source)
            return
        try:
            packed = stack.enter_context(zipfile.ZipFile(source))
            known = _zip_names(packed)
            raw = _manifest_of(packed, known)
        except FileNotFoundError:
            raise StoreError(f"There is no archive {source}.", "Check its name.") from None
        except StoreError:
            raise
        except OSError as exc:
            raise StoreError(f"{source} cannot be read ({exc.strerror or exc}).", "Check the disk.") from exc
        except DAMAGE as exc:
            why = "it is no zip file, or only a part of one"
            raise bad_archive(why, "Copy it again, or make a new one.") from exc
        manifest = read_manifest(raw)
        _agree(manifest, {name: info.file_size for name, info in known.items()})
        for info in known.values():
            if info.file_size > MOST_PACKED * max(info.compress_size, 4096):
                raise bad_archive(f"{info.filename} unpacks to far more than it could hold")
        yield OpenedArchive(manifest, packed.open, source.parent)


def _zip_names(packed: zipfile.ZipFile) -> dict[str, zipfile.ZipInfo]:
    names: dict[str, zipfile.ZipInfo] = {}
    for info in packed.infolist():
        if info.filename in names:
            raise bad_archive(f"it holds {info.filename[:80]!r} twice")
        if info.flag_bits & 1:
            raise bad_archive("it is locked with a password")
        names[info.filename] = info
    return names


def _manifest_of(packed: zipfile.ZipFile, known: dict[str, zipfile.ZipInfo]) -> bytes:
    if MANIFEST not in known:
        raise bad_archive(f"there is no {MANIFEST} in it")
    with packed.open(MANIFEST) as file:
        raw = file.read(LARGEST_MANIFEST_BYTES + 1)
    if len(raw) > LARGEST_MANIFEST_BYTES:
        raise bad_archive("its list of contents is too long")
    return raw


def _opened_folder(source: Path) -> OpenedArchive:
    try:
        with (source / MANIFEST).open("rb") as file:
            raw = file.read(LARGEST_MANIFEST_BYTES + 1)
    except OSError:
        raise bad_archive(f"there is no {MANIFEST} in {source}") from None
    manifest = read_manifest(raw[: LARGEST_MANIFEST_BYTES + 1])
    sizes = {}
    for entry in manifest.files:
        path = source / entry.path
        if (
            path.is_symlink()
            or path.parent.is_symlink()
            or (path.exists() and not stat.S_ISREG(path.stat().st_mode))
        ):
            raise bad_archive(f"{entry.path} is a link or no file")
        if path.is_file():
            sizes[entry.path] = path.stat().st_size
    _agree(manifest, {**sizes, MANIFEST: len(raw)})
    return OpenedArchive(manifest, lambda name: (source / name).open("rb"), source)


def _agree(manifest: Manifest, sizes: dict[str, int]) -> None:
    within = {entry.path: entry.bytes for entry in manifest.files if not entry.beside}
    strange = sorted(set(sizes) - set(within) - {MANIFEST})
    if strange:
        raise bad_archive(f"it holds a file that is not in its list: {strange[0][:80]!r}")
    gone = sorted(set(within) - set(sizes))
    if gone:
        raise bad_archive(f"{gone[0]} is not in it", "It was cut short: copy it again, or make a new one.")
    for name, size in within.items():
        if sizes[name] != size:
            raise bad_archive(f"{name} has {sizes[name]} bytes instead of {size}", "Copy it again.")
