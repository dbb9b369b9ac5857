"""Tap tests and spindle checks: rows are only added; that one is set aside is said in a correction."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

import sqlalchemy as sa

from shopmon.records.cuts.rows import dated
from shopmon.records.stamps import Stamps
from shopmon.records.tables import corrections, spindle_checks, tap_tests


class CheckRows:
    """The part of the archive that keeps tap tests and spindle checks."""

    _stamps: Stamps
    _insert: Callable[..., str]
    _connect: Callable[[], AbstractContextManager[sa.Connection]]
    add_correction: Callable[..., str]
    flush: Callable[..., None]

    def add_tap_test(self, values: dict[str, Any]) -> str:
        """Keep a tap test; it can be read when this returns. Return its id."""
        return self._added(tap_tests, values)

    def tap_tests(self, key: str | None = None, limit: int = 100) -> list[dict]:
        """Return tap tests with ``t`` and ``used``, newest first; of one tool assembly, or of all."""
        wanted = sa.true() if key is None else tap_tests.c.key == key
        return self._newest(tap_tests, wanted, limit)

    def add_spindle_check(self, values: dict[str, Any]) -> str:
        """Keep a spindle check; it can be read when this returns. Return its id."""
        return self._added(spindle_checks, values)

    def spindle_checks(self, machine: str | None = None, limit: int = 500) -> list[dict]:
        """Return spindle checks with ``t`` and ``used``, newest first."""
        wanted = sa.true() if machine is None else spindle_checks.c.machine == machine
        return self._newest(spindle_checks, wanted, limit)

    def set_used(self, table: str, row_id: str, used: bool) -> None:
        """Say that a test or check counts, or no longer; it stays in the history."""
        self.add_correction(table, row_id, "used", bool(used))
        self.flush(filing=False)

    def _added(self, table: sa.Table, values: dict[str, Any]) -> str:
        row_id = self._insert(table, {**self._stamps.new(), **values})
        self.flush(filing=False)
        return row_id

    def _newest(self, table: sa.Table, wanted: sa.ColumnElement, limit: int) -> list[dict]:
        said = (
            sa.select(corrections.c.row_id, corrections.c.value)
            .where(corrections.c.table_name == table.name, corrections.c.field == "used")
            .order_by(corrections.c.sequence)
        )
        query = sa.select(table).where(wanted).order_by(table.c.sequence.desc()).limit(limit)
        with self._connect() as connection:
            rows = dated(connection, connection.execute(query))
            used = {row.row_id: row.value for row in connection.execute(said)}
        return [{**row, "used": bool(used.get(row["id"], True))} for row in rows]
