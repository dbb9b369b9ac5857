"""The database as the writer thread sees it: rows gathered, committed together, kept when the disk will not.

A batch that holds anything that must not be lost is committed with ``synchronous=FULL``, others with NORMAL:
in WAL mode both survive the death of the process, and FULL also a power cut.
"""

import logging
from collections.abc import Hashable
from dataclasses import dataclass

import sqlalchemy as sa

log = logging.getLogger(__name__)
ROW_FAULTS = (
    sa.exc.IntegrityError,
    sa.exc.DataError,
    sa.exc.ProgrammingError,
    sa.exc.InterfaceError,
)


@dataclass
class Change:
    """A statement that waits; a later one with the same key takes its place."""

    statement: sa.Executable
    values: dict | None
    durable: bool


class DatabaseStuckError(Exception):
    """The database as a whole cannot be written now: full, locked, or failing."""


class Ledger:
    """Writes statements in order, in transactions; used by the writer thread alone."""

    def __init__(self, engine: sa.Engine):
        self._connection = engine.connect()
        self._waiting: list[Change] = []
        self._keyed: dict[Hashable, Change] = {}
        self._synchronous: str | None = None
        self.trouble: str | None = None
        self.refused_rows = 0

    def write(
        self,
        statement: sa.Executable,
        values: dict | None = None,
        *,
        durable: bool = True,
        key: Hashable = None,
    ) -> None:
        """Queue a statement for the next commit; with `key`, instead of a waiting one with that key."""
        change = self._keyed.get(key)
        if change is not None:
            change.statement, change.values = statement, values
            return
        change = Change(statement, values, durable)
        self._waiting.append(change)
        if key is not None:
            self._keyed[key] = change

    def insert(self, table: sa.Table, row: dict, *, durable: bool = True) -> None:
        """Queue a new row."""
        self.write(sa.insert(table), {name: _storable(value) for name, value in row.items()}, durable=durable)

    def read(self, query: sa.Select) -> list[sa.Row]:
        """Return rows as they are committed."""
        with self._connection.begin():
            return list(self._connection.execute(query))

    def __len__(self) -> int:
        return len(self._waiting)

    @property
    def stuck_rows(self) -> int:
        """How many wait because the database cannot be written, not merely for the next commit."""
        return len(self._waiting) if self.trouble else 0

    def commit(self) -> bool:
        """Write what waits; False when the database cannot be written now, and then it waits on."""
        try:
            if self._waiting and not self._commit(self._waiting):
                self._commit_singly()
        except DatabaseStuckError as exc:
            if self.trouble is None:
                log.warning("The database cannot be written now: %s", exc)
            self.trouble = str(exc)
            return False
        self._waiting.clear()
        self._keyed.clear()
        self.trouble = None
        return True

    def close(self) -> None:
        """Give the connection back."""
        self._connection.close()

    def _commit(self, changes: list[Change]) -> bool:
        """Commit all or none; False when one of them is at fault."""
        try:
            self._synchronise("FULL" if any(change.durable for change in changes) else "NORMAL")
            with self._connection.begin():
                for change in changes:
                    self._connection.execute(change.statement, change.values)
        except sa.exc.DBAPIError as exc:
            if not isinstance(exc, ROW_FAULTS):
                raise DatabaseStuckError(str(exc.orig)) from exc
            return self._at_fault(changes)
        except (sa.exc.StatementError, TypeError, ValueError, OverflowError):
            return self._at_fault(changes)
        return True

    def _at_fault(self, changes: list[Change]) -> bool:
        if len(changes) == 1:
            log.exception("A row was refused by the database")
        return False

    def _commit_singly(self) -> None:
        # one bad row must not take its neighbours with it
        while self._waiting:
            if not self._commit(self._waiting[:1]):
                self.refused_rows += 1
            self._waiting.pop(0)

    def _synchronise(self, level: str) -> None:
        if level != self._synchronous:
            self._connection.connection.driver_connection.execute(f"PRAGMA synchronous={level}")
            self._synchronous = level


def _storable(value):
    # half a surrogate pair is no text that a database could hold
    return value.encode("utf-8", "replace").decode("utf-8") if isinstance(value, str) else value
