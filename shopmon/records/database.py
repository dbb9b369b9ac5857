"""Opening the database: connections, the schema version, migrations with a copy made first.

SQLite in WAL mode. One connection writes (the writer thread's); readers have connections of their own that
cannot write. Alembic is imported only when a migration is due, because it costs a third of a second.
"""

import json
import logging
import math
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import sqlalchemy as sa

from shopmon.errors import StoreError

# every schema this program knows, oldest first
REVISIONS = ("0001", "0002", "0003", "0004", "0005", "0006", "0007")
BUSY_TIMEOUT_MS = 5000
FULL_BYTES = 2**20
MIGRATIONS = Path(__file__).parent / "migrations"


def open_database(path: Path, backups: Path) -> sa.Engine:
    """Return the engine that writes `path`, migrated to the newest schema.

    An older database is copied into `backups` before it is migrated.

    Raises
    ------
    StoreError
        The database is newer than the program, damaged, or cannot be opened.
    """
    try:
        unclean = _left_unclean(path)
        engine = _engine(path, read_only=False)
        with engine.connect() as connection:
            version = schema_version(connection)
            if unclean:
                _check(connection, path, backups)
        _migrate(engine, path, backups, version)
    except (sa.exc.DatabaseError, sqlite3.DatabaseError) as exc:
        raise unusable(path, backups, exc) from exc
    return engine


def open_reader(path: Path) -> sa.Engine:
    """Return an engine whose connections can only read; safe to share between threads."""
    return _engine(path, read_only=True)


def schema_version(connection: sa.Connection) -> str | None:
    """Read the schema version with one plain query; None for an empty database."""
    found = connection.exec_driver_sql(
        "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'alembic_version'"
    ).first()
    if found is None:
        return None
    return connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()


def to_json(value) -> str:
    """Serialise for a JSON column: numpy scalars become numbers, NaN and infinities become null."""
    try:
        return json.dumps(value, allow_nan=False, default=_plain)
    except ValueError:
        return json.dumps(_finite(value), default=_plain)


def _plain(value):
    if hasattr(value, "tolist"):
        return _finite(value.tolist())
    raise TypeError(f"{type(value).__name__} cannot be stored as JSON")


def _finite(value):
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, dict):
        return {key: _finite(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(entry) for entry in value]
    return value


def _engine(path: Path, *, read_only: bool) -> sa.Engine:
    mode = "ro" if read_only else "rwc"
    location = f"file:{_quoted(path)}?mode={mode}"

    def connect() -> sqlite3.Connection:
        return sqlite3.connect(
            location, uri=True, isolation_level=None, check_same_thread=False, timeout=BUSY_TIMEOUT_MS / 1000
        )

    pool = {"pool_size": 4, "max_overflow": 28} if read_only else {"pool_size": 1, "max_overflow": 0}
    engine = sa.create_engine(
        "sqlite+pysqlite://", creator=connect, poolclass=sa.QueuePool, json_serializer=to_json, **pool
    )
    sa.event.listen(engine, "connect", _read_pragmas if read_only else _write_pragmas)
    # the driver would begin transactions in the wrong places (never before DDL); SQLAlchemy says when
    sa.event.listen(engine, "begin", _begin_read if read_only else _begin_write)
    return engine


def _quoted(path: Path) -> str:
    return str(path.resolve()).replace("%", "%25").replace("?", "%3f").replace("#", "%23")


def _write_pragmas(connection: sqlite3.Connection, record) -> None:
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "journal_size_limit=16777216"):
        connection.execute(f"PRAGMA {pragma}")


def _read_pragmas(connection: sqlite3.Connection, record) -> None:
    connection.execute("PRAGMA query_only=ON")


def _begin_write(connection: sa.Connection) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE")


def _begin_read(connection: sa.Connection) -> None:
    connection.exec_driver_sql("BEGIN")


def _left_unclean(path: Path) -> bool:
    # the last clean close removes the write-ahead log
    log = path.with_name(path.name + "-wal")
    return log.exists() and log.stat().st_size > 0


def _check(connection: sa.Connection, path: Path, backups: Path) -> None:
    found = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar()
    if found != "ok":
        raise unusable(path, backups, found)


def unusable(path: Path, backups: Path, reason) -> StoreError:
    """Translate what the database said into one sentence and what to do about it."""
    cause = str(getattr(reason, "orig", None) or reason)
    return StoreError(f"The database cannot be used ({cause}).", _hint(path, backups, cause))


def _hint(path: Path, backups: Path, cause: str) -> str:
    # a full disk also shows as an I/O error, when there is no room for the file that readers share
    if "full" in cause or shutil.disk_usage(path.parent).free < FULL_BYTES:
        return "Free some space on the disk and start again."
    if "I/O error" in cause:
        return f"Check the disk or card and its connection. The database is {path}."
    if "locked" in cause:
        return f"Close the program that uses it and start again. It is {path}."
    if "readonly" in cause or "unable to open" in cause:
        return f"Make sure that you may write {path} and the files beside it."
    copies = sorted(backups.glob("*.db"), key=lambda copy: copy.stat().st_mtime)
    if copies:
        return f"The newest backup is {copies[-1]}. Copy it over {path}, or move that file aside."
    return f"Move it aside to begin a new log; the recordings beside it stay. It is {path}."


def _migrate(engine: sa.Engine, path: Path, backups: Path, version: str | None) -> None:
    if version == REVISIONS[-1]:
        return
    if version is not None and version not in REVISIONS:
        raise StoreError(
            f"The database was written by a newer version of this program (schema {version}).",
            f"Install that version again, or give another data folder. The database is {path}.",
        )
    if version is not None:
        back_up(path, backups, f"schema-{version}")
    _upgrade(engine)


def _upgrade(engine: sa.Engine) -> None:
    from alembic import command
    from alembic.config import Config

    logging.getLogger("alembic").setLevel(logging.WARNING)  # it announces every plug-in
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    with engine.connect() as connection, connection.begin():
        config.attributes["connection"] = connection
        command.upgrade(config, REVISIONS[-1])


def back_up(path: Path, backups: Path, label: str) -> Path:
    """Copy the database, log included, to a new file in `backups` and return it."""
    backups.mkdir(parents=True, exist_ok=True)
    number = 1
    while (copy := backups / f"{path.stem}-{label}-{number}.db").exists():
        number += 1
    with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(copy)) as target:
        source.backup(target)
    return copy
