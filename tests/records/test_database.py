"""Opening: migrations, and folders and databases that cannot be used."""

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from shopmon.errors import SettingError, StoreError
from shopmon.records import database
from shopmon.records.archive import Archive
from shopmon.records.database import MIGRATIONS, open_database, schema_version, to_json
from shopmon.records.tables import metadata

TODAY = database.REVISIONS[-1]
LATER_STEP = """
import sqlalchemy as sa
from alembic import op

revision = "9999"
down_revision = "{before}"
branch_labels = depends_on = None


def upgrade():
    op.add_column("marks", sa.Column("colour", sa.Text))
    {then}
"""


@pytest.fixture
def later_program(tmp_path, monkeypatch):
    """Act as a later version of the program, with one migration more."""

    def install(then: str = "") -> None:
        folder = tmp_path / "migrations"
        shutil.copytree(MIGRATIONS, folder, ignore=shutil.ignore_patterns("__pycache__"))
        step = LATER_STEP.format(before=TODAY, then=then or "pass")
        (folder / "versions/9999_more.py").write_text(step)
        monkeypatch.setattr(database, "MIGRATIONS", folder)
        monkeypatch.setattr(database, "REVISIONS", (*database.REVISIONS, "9999"))

    return install


def test_migrating_from_nothing_gives_the_tables_of_today(tmp_path):
    engine = open_database(tmp_path / "shopmon.db", tmp_path / "backups")
    with engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []
        assert schema_version(connection) == database.REVISIONS[-1]
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert list(connection.exec_driver_sql("PRAGMA foreign_key_check")) == []
    engine.dispose()
    assert not (tmp_path / "backups").exists(), "there was nothing to save"


def test_every_table_orders_its_rows_and_dates_them():
    for table in metadata.sorted_tables:
        assert {"id", "sequence", "boot_id", "monotonic_s"} <= set(table.columns.keys()), table.name


def test_an_up_to_date_database_needs_no_migration_tool(tmp_path):
    open_database(tmp_path / "shopmon.db", tmp_path / "backups").dispose()
    script = (
        "import sys; from pathlib import Path; from shopmon.records.archive import Archive\n"
        "Archive.open(Path(sys.argv[1]), budget_bytes=0).close()\n"
        "print(sorted({name.split('.')[0] for name in sys.modules} & {'alembic', 'scipy', 'plotly'}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, tmp_path], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_an_older_database_is_copied_and_then_migrated(open_archive, later_program, tmp_path):
    archive = open_archive()
    archive.add_event("event", "notice", None, None, None, {"text": "old"})
    archive.close()
    later_program()
    again = open_archive()
    assert again.events()[0]["data"] == {"text": "old"}
    with again._engine.connect() as connection:
        assert schema_version(connection) == "9999"
        assert "colour" in [row[1] for row in connection.exec_driver_sql("PRAGMA table_info(marks)")]
    (copy,) = (tmp_path / "data/backups").glob("*.db")
    with closing(sqlite3.connect(copy)) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchone() == (TODAY,)
        assert connection.execute("SELECT count(*) FROM events").fetchone() == (1,)


def test_a_migration_that_fails_in_the_middle_leaves_everything_as_it_was(
    open_archive, later_program, tmp_path
):
    archive = open_archive()
    archive.add_event("event", "notice", None, None, None, {})
    archive.close()
    later_program('raise RuntimeError("power failure")')
    with pytest.raises(RuntimeError):
        open_archive()
    with closing(sqlite3.connect(tmp_path / "data/shopmon.db")) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchone() == (TODAY,)
        assert "colour" not in [row[1] for row in connection.execute("PRAGMA table_info(marks)")]
        assert connection.execute("SELECT count(*) FROM events").fetchone() == (1,)


def test_a_newer_database_is_left_alone(open_archive, tmp_path):
    open_archive().close()
    path = tmp_path / "data/shopmon.db"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '99999'")
        connection.commit()
    before = path.read_bytes()
    with pytest.raises(StoreError, match="newer version") as caught:
        open_archive()
    assert "Install" in caught.value.hint
    assert path.read_bytes() == before


@pytest.mark.parametrize("damage", ["not a database", "cut short", "holes"])
def test_a_damaged_database_is_named_and_not_touched(open_archive, tmp_path, damage):
    archive = open_archive()
    for number in range(300):
        archive.add_event(f"event{number}", "notice", None, None, None, {"text": "x" * 200})
    archive.close()
    path = tmp_path / "data/shopmon.db"
    content = bytearray(path.read_bytes())
    if damage == "not a database":
        content = bytearray(b"a letter to the machinist\n" * 500)
    elif damage == "cut short":
        content = content[: len(content) // 2]
    else:
        content[4096 : 4096 * 8] = bytes(4096 * 7)
    path.write_bytes(content)
    # a log that was left over says that the last run did not end in good order, and so the file is checked
    path.with_name("shopmon.db-wal").write_bytes(b"left over")
    (tmp_path / "data/backups").mkdir()
    (tmp_path / "data/backups/shopmon-schema-0000-1.db").write_bytes(b"")
    with pytest.raises(StoreError, match="cannot be used") as caught:
        open_archive()
    assert "shopmon-schema-0000-1.db" in caught.value.hint
    assert path.read_bytes() == bytes(content)


def test_a_file_in_place_of_the_folder(open_archive, tmp_path):
    (tmp_path / "file").write_text("I am a file")
    for place in (tmp_path / "file", tmp_path / "file/below"):
        with pytest.raises(StoreError, match="cannot be used") as caught:
            open_archive(place)
        assert "--data" in caught.value.hint


def test_a_folder_that_may_not_be_written(open_archive, tmp_path, monkeypatch):
    # root may write anywhere, so the refusal is played
    def refuse(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(StoreError, match="Permission denied") as caught:
        open_archive()
    assert "may write" in caught.value.hint


def test_a_second_monitor_on_the_same_folder_is_refused(open_archive, tmp_path):
    open_archive()
    with pytest.raises(StoreError, match=f"process {os.getpid()}"):
        open_archive()
    script = (
        "import sys; from pathlib import Path; from shopmon.records.archive import Archive\n"
        "try: Archive.open(Path(sys.argv[1]), budget_bytes=0)\n"
        "except OSError as exc: print(exc)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, tmp_path / "data"], capture_output=True, text=True, check=True
    )
    assert "Another monitor" in done.stdout and "Stop it first" in done.stdout


def test_a_failed_opening_lets_go_of_the_folder(open_archive, tmp_path):
    (tmp_path / "data").mkdir()
    (tmp_path / "data/shopmon.db").write_bytes(b"nonsense" * 1000)
    for _ in range(2):
        with pytest.raises(StoreError, match="cannot be used"):
            open_archive()
    (tmp_path / "data/shopmon.db").unlink()
    open_archive()


@pytest.mark.parametrize("options", [{"budget_bytes": -1}, {"buffer_s": -1}, {"buffer_s": float("nan")}])
def test_absurd_numbers_are_refused(tmp_path, options):
    with pytest.raises(SettingError):
        Archive.open(tmp_path, **{"budget_bytes": 1, **options})


def test_odd_names_of_folders(open_archive, tmp_path):
    archive = open_archive(tmp_path / "a?b#c%20d 'e' ü")
    archive.add_event("event", "notice", None, None, None, {})
    archive.flush()
    assert len(archive.events()) == 1 and (tmp_path / "a?b#c%20d 'e' ü/shopmon.db").exists()


def test_readers_cannot_write(archive):
    with archive._engine.connect() as connection, pytest.raises(sa.exc.OperationalError, match="readonly"):
        connection.execute(sa.text("DELETE FROM boots"))


def test_json_has_no_numbers_that_are_none():
    import numpy as np

    assert to_json({"a": [1.5, float("nan")], "b": np.float32("inf"), "c": np.arange(2)}) == (
        '{"a": [1.5, null], "b": null, "c": [0, 1]}'
    )
