"""Looks at a database that came from elsewhere before a single row of it is believed."""

import json
import re
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import sqlalchemy as sa

from shopmon.errors import StoreError
from shopmon.records.carrying.form import SAFE_NAME, bad_archive
from shopmon.records.database import open_database
from shopmon.records.tools.tables import metadata

LARGEST_SEQUENCE = 2**53
DAMAGED = "Make a new export where it comes from."
KINDS: dict[type, tuple[type, ...]] = {
    sa.Boolean: (int,),
    sa.Integer: (int,),
    sa.Float: (int, float),
    sa.Text: (str,),
    sa.JSON: (str, int, float),  # SQLite keeps the JSON text of a number as a number
}


def brought_up_to_date(path: Path, schema: str) -> None:
    """Check an unpacked database and migrate it to the newest schema.

    Raises
    ------
    StoreError
        It is damaged, holds more than plain tables, or is not of the schema that was said.
    """
    try:
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
            connection.execute("PRAGMA trusted_schema=OFF")
            if connection.execute("PRAGMA integrity_check(1)").fetchone()[0] != "ok":
                raise bad_archive("its database is damaged", DAMAGED)
            _only_tables(connection)
            found = connection.execute("SELECT version_num FROM alembic_version").fetchall()
            if found != [(schema,)]:
                raise bad_archive(f"its database is not of schema {schema}", DAMAGED)
        open_database(path, path.parent / "earlier").dispose()
        with closing(sqlite3.connect(path)) as connection:
            connection.execute("PRAGMA journal_mode=DELETE")
            _all_columns(connection)
    except sqlite3.DatabaseError as exc:
        raise bad_archive(f"its database cannot be read ({exc})", DAMAGED) from exc
    except StoreError as exc:
        if exc.text.startswith("The database cannot be used"):
            raise bad_archive("its database cannot be brought up to date", DAMAGED) from exc
        raise


def _only_tables(connection: sqlite3.Connection) -> None:
    """Refuse what could act by itself: views, triggers, virtual tables."""
    for kind, name, sql in connection.execute("SELECT type, name, sql FROM sqlite_master"):
        if kind not in ("table", "index") or re.match(r"\s*CREATE\s+VIRTUAL", sql or "", re.IGNORECASE):
            raise bad_archive(f"its database holds a {kind} that was not made by this program: {name[:60]!r}")


def _all_columns(connection: sqlite3.Connection) -> None:
    for table in metadata.sorted_tables:
        found = {row[1] for row in connection.execute(f'PRAGMA table_info("{table.name}")')}
        wanted = {column.name for column in table.columns}
        if not wanted <= found:
            raise bad_archive(f"its table {table.name} lacks {sorted(wanted - found)[0]}", DAMAGED)


def row_checker(table: sa.Table) -> Callable[[tuple], None]:
    """Return what refuses a row of `table` that this program would not write; values in column order."""
    columns = [(column.name, KINDS[_kind(column)], column) for column in table.columns]

    def check(row: tuple) -> None:
        for (name, kinds, column), value in zip(columns, row, strict=True):
            if value is None:
                if not column.nullable:
                    raise _bad(table, name, value)
            elif not isinstance(value, kinds):
                raise _bad(table, name, value)
            elif isinstance(column.type, sa.JSON) and isinstance(value, str):
                _check_json(table, name, value)
            elif name == "path" or name.endswith("_path"):
                _check_path(table, name, value, row[0])
        if not 0 <= row[1] <= LARGEST_SEQUENCE:
            raise _bad(table, "sequence", row[1])

    return check


def _kind(column: sa.Column) -> type:
    return next(kind for kind in KINDS if isinstance(column.type, kind))


def _check_json(table: sa.Table, name: str, value: str) -> None:
    try:
        json.loads(value)
    except (ValueError, RecursionError):
        raise _bad(table, name, value) from None


def _check_path(table: sa.Table, name: str, value: str, row_id: str) -> None:
    # a file belongs to its row alone: what removes the row's sound must not reach another's
    if not SAFE_NAME.fullmatch(value) or value.split("/")[1].split(".")[0] != row_id:
        raise _bad(table, name, value)


def _bad(table: sa.Table, name: str, value) -> StoreError:
    return bad_archive(f"{str(value)[:60]!r} cannot be the {name} of a row of {table.name}", DAMAGED)
