"""The archive ``shopmon.export/1``: a zip, or a folder, of files named in a manifest with their checksums."""

import json
import re
from dataclasses import asdict, dataclass, field
from typing import Any

from shopmon.errors import StoreError
from shopmon.records.database import REVISIONS
from shopmon.records.folder import CARRIED, DATABASE_NAME

SCHEMA = "shopmon.export/1"
MANIFEST = "manifest.json"
LARGEST_MANIFEST_BYTES = 64 * 2**20
CHUNK_BYTES = 2**20
SAFE_NAME = re.compile(rf"(?:{'|'.join(CARRIED)})/[A-Za-z0-9][A-Za-z0-9_.-]{{0,199}}")
SHA256 = re.compile(r"[0-9a-f]{64}")
NOT_OURS = "Give what 'shopmon export' or 'shopmon backup' wrote; if it was cut short, copy it again."


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One file of an archive.

    ``beside`` tells that it lies in the folder beside the archive, where several archives share it.
    """

    path: str
    bytes: int
    sha256: str
    beside: bool = False


@dataclass(frozen=True, kw_only=True)
class Manifest:
    """What an archive says of itself.

    Attributes
    ----------
    program
        Version of the program that wrote it.
    database_schema
        Schema of the database in it.
    made_at
        Seconds since 1970 by the clock of the computer that wrote it, right or not.
    with_audio
        Whether sound was asked for.
    only_cuts
        Ids of the cuts it was made of, None where it is of everything.
    rows
        Rows of each table.
    left_out
        Sentences: what is not in it and why.
    files
        Every file but the manifest.
    """

    program: str
    database_schema: str
    made_at: float
    with_audio: bool
    only_cuts: list[str] | None
    rows: dict[str, int]
    left_out: list[str]
    files: list[Entry] = field(default_factory=list)

    @property
    def total_bytes(self) -> int:
        """What all files take when unpacked."""
        return sum(entry.bytes for entry in self.files)

    def as_json(self) -> bytes:
        """Return the manifest as it is written."""
        files = [{**asdict(entry)} for entry in self.files]
        for entry in files:
            if not entry["beside"]:
                del entry["beside"]
        content = {"schema": SCHEMA, **asdict(self), "files": files}
        return json.dumps(content, indent=1, ensure_ascii=False).encode()


def bad_archive(what: str, hint: str = NOT_OURS) -> StoreError:
    """Return the error that says why an archive is not taken."""
    return StoreError(f"The archive cannot be used: {what}.", hint)


def read_manifest(raw: bytes) -> Manifest:
    """Return a manifest after checking every word of it.

    Raises
    ------
    StoreError
        It is none, was written by a newer version, or names what cannot be.
    """
    content = _json(raw)
    if content.get("schema") != SCHEMA:
        raise bad_archive(f"its form is {str(content.get('schema'))[:40]!r}, not {SCHEMA}")
    _refuse_newer(content.get("database_schema"))
    try:
        return Manifest(
            program=str(content["program"])[:40],
            database_schema=content["database_schema"],
            made_at=float(content["made_at"]),
            with_audio=bool(content["with_audio"]),
            only_cuts=content["only_cuts"],
            rows=dict(content["rows"]),
            left_out=[str(text) for text in content["left_out"]],
            files=_entries(content["files"]),
        )
    except (KeyError, TypeError, ValueError) as exc:
        if isinstance(exc, StoreError):
            raise
        raise bad_archive(f"its list of contents is incomplete ({type(exc).__name__})") from exc


def _json(raw: bytes) -> dict[str, Any]:
    try:
        content = json.loads(raw)
    except (ValueError, RecursionError) as exc:
        raise bad_archive("its list of contents is damaged") from exc
    if not isinstance(content, dict):
        raise bad_archive("its list of contents is none")
    return content


def _refuse_newer(schema: Any) -> None:
    if schema in REVISIONS:
        return
    if isinstance(schema, str) and re.fullmatch(r"\d{4}", schema) and schema > REVISIONS[-1]:
        hint = "Update this one first, then import again."
        raise bad_archive(f"a newer version of this program wrote it (schema {schema})", hint)
    raise bad_archive(f"its database has the unknown schema {str(schema)[:40]!r}")


def _entries(listed: list[dict]) -> list[Entry]:
    entries = [_entry(each) for each in listed]
    names = [entry.path for entry in entries]
    if len(set(names)) != len(names):
        raise bad_archive("it names a file twice")
    if DATABASE_NAME not in names:
        raise bad_archive("there is no database in it")
    return entries


def _entry(listed: dict) -> Entry:
    path, size, digest = listed["path"], listed["bytes"], listed["sha256"]
    if not isinstance(path, str) or not (path == DATABASE_NAME or SAFE_NAME.fullmatch(path)):
        raise bad_archive(f"it holds a file that has no place here: {str(path)[:80]!r}")
    if not isinstance(size, int) or isinstance(size, bool) or size < 0:
        raise bad_archive(f"the size of {path} cannot be")
    if not isinstance(digest, str) or not SHA256.fullmatch(digest):
        raise bad_archive(f"the checksum of {path} cannot be")
    beside = listed.get("beside", False) is True
    if beside and path == DATABASE_NAME:
        raise bad_archive("its database is not in it")
    return Entry(path=path, bytes=size, sha256=digest, beside=beside)
