"""The database as the writer thread sees it: rows gathered, committed together, kept when the disk will not.

A batch that holds anything that must not be lost is committed with ``synchronous=FULL``, others with NORMAL:
in WAL mode both survive the death of the process, and FULL also a power cut.
"""

import logging
from collections import deque

import sqlalchemy as sa

log = logging.getLogger(__name__)


class Ledger:
    """Writes statements in order, in transactions; used by the writer thread alone."""

    def __init__(self, engine: sa.Engine):
        self._connection = engine.connect()
        self._waiting: deque[tuple[sa.Executable, dict | None, bool]] = deque()
        self._synchronous: str | None = None
        self.trouble: str | None = None
        self.refused_rows = 0

    def write(self, statement: sa.Executable, values: dict | None = None, *, durable: bool = True) -> None:
        """Queue a statement for the next commit."""
        self._waiting.append((statement, values, durable))

    def insert(self, table: sa.Table, row: dict, *, durable: bool = True) -> None:
        """Queue a new row."""
        self.write(sa.insert(table), row, durable=durable)

    def read(self, query: sa.Select) -> list[sa.Row]:
        """Return rows as they are committed."""
        with self._connection.begin():
            return list(self._connection.execute(query))

    def __len__(self) -> int:
        return len(self._waiting)

    def commit(self) -> bool:
        """Write what waits; False when the database cannot be written now, and then all of it waits on."""
        if not self._waiting:
            return True
        try:
            self._commit(list(self._waiting))
            self._waiting.clear()
        except sa.exc.OperationalError as exc:
            self._stuck(exc)
            return False
        except (sa.exc.SQLAlchemyError, TypeError, ValueError, OverflowError):
            if not self._commit_singly():
                return False
        self.trouble = None
        return True

    def close(self) -> None:
        """Give the connection back."""
        self._connection.close()

    def _commit(self, statements: list) -> None:
        self._synchronise("FULL" if any(durable for _, _, durable in statements) else "NORMAL")
        with self._connection.begin():
            for statement, values, _ in statements:
                self._connection.execute(statement, values)

    def _commit_singly(self) -> bool:
        # one bad row must not take its neighbours with it
        while self._waiting:
            try:
                self._commit([self._waiting[0]])
            except sa.exc.OperationalError as exc:
                self._stuck(exc)
                return False
            except (sa.exc.SQLAlchemyError, TypeError, ValueError, OverflowError):
                log.exception("A row was refused by the database")
                self.refused_rows += 1
            self._waiting.popleft()
        return True

    def _stuck(self, exc: sa.exc.OperationalError) -> None:
        if self.trouble is None:
            log.warning("The database cannot be written now: %s", exc.orig)
        self.trouble = str(exc.orig)

    def _synchronise(self, level: str) -> None:
        if level != self._synchronous:
            self._connection.connection.driver_connection.execute(f"PRAGMA synchronous={level}")
            self._synchronous = level
