"""Rows that wait for their commit are no trouble; rows that the database will not take are, and are said."""

import sqlite3

import pytest
import sqlalchemy as sa

from shopmon.records.ledger import Ledger

ROWS = sa.Table("notes", sa.MetaData(), sa.Column("text", sa.Text))


@pytest.fixture
def path_and_ledger(tmp_path):
    path = tmp_path / "notes.db"
    engine = sa.create_engine(f"sqlite:///{path}", connect_args={"timeout": 0})
    ROWS.metadata.create_all(engine)
    ledger = Ledger(engine)
    yield path, ledger
    ledger.close()


def test_rows_are_stuck_only_while_the_database_cannot_be_written(path_and_ledger):
    path, ledger = path_and_ledger
    ledger.insert(ROWS, {"text": "a cut"})
    assert (len(ledger), ledger.stuck_rows) == (1, 0), "this one only waits for its commit"

    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    assert not ledger.commit()
    assert ledger.stuck_rows == 1
    other.execute("ROLLBACK")
    other.close()

    assert ledger.commit()
    assert ledger.stuck_rows == 0
    assert [row.text for row in ledger.read(sa.select(ROWS))] == ["a cut"]
