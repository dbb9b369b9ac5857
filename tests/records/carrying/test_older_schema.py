"""An export of a log that an older version wrote is taken in, and brought up to date on its way."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.config import Config

from shopmon.records.carrying.packing import pack
from shopmon.records.carrying.unpacking import unpack
from shopmon.records.database import MIGRATIONS, REVISIONS
from shopmon.records.looking import looking_at

CONTEXT = """INSERT INTO contexts (id, sequence, boot_id, monotonic_s, end_mill, flutes, other)
             VALUES ('context', 2, 'boot', 2.0, 'plum #3', 3, '{"diameter_mm": 6.0}')"""
STREAM = """INSERT INTO streams (id, sequence, boot_id, monotonic_s, source_id, name, sample_rate_hz,
            channels, code_format) VALUES ('stream', 1, 'boot', 1.0, 'source', 'Old', 1000.0, 1, 'int16')"""
CUT = """INSERT INTO cuts (id, sequence, boot_id, monotonic_s, stream_id, context_id, start_monotonic_s,
         first_sample, end_sample, engaged, chatter, ended, recovered, keep)
         VALUES ('cut', 3, 'boot', 10.0, 'stream', 'context', 5.0, 5000, 9000, '[[5000, 9000]]',
         '[{"start_sample": 6000, "end_sample": 7000, "frequency_hz": 1432.6, "level_db": -20}]',
         1, 0, 0)"""
ANALYSIS = """INSERT INTO analyses (id, sequence, boot_id, monotonic_s, cut_id, original, engine_version,
              settings_hash, result)
              VALUES ('analysis', 4, 'boot', 11.0, 'cut', 1, '0', 'h', '{"state": "chatter"}')"""
SUMS = "UPDATE cuts SET engaged_samples = 4000, chatter_samples = 1000, entries = 1"


def old_folder(root: Path, revision: str) -> None:
    """Make a data folder as an older version left it."""
    root.mkdir()
    engine = sa.create_engine(f"sqlite:///{root / 'shopmon.db'}")
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    with engine.connect() as connection, connection.begin():
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
        for statement in (STREAM, CONTEXT, CUT, ANALYSIS):
            connection.exec_driver_sql(statement)
        if revision != REVISIONS[0]:
            connection.exec_driver_sql(SUMS)
    engine.dispose()


@pytest.mark.parametrize("revision", REVISIONS)
@pytest.mark.parametrize("only", [(), ("cut-of-old",)], ids=["everything", "one cut"])
def test_it_comes_in_with_its_verdict_and_totals(tmp_path, revision, only):
    old_folder(tmp_path / "old", revision)
    if only:
        with closing(sqlite3.connect(tmp_path / "old" / "shopmon.db")) as connection, connection:
            connection.execute("UPDATE cuts SET id = 'cut-of-old'")
            connection.execute("UPDATE analyses SET cut_id = 'cut-of-old'")
    packed = pack(tmp_path / "old", tmp_path / "old.zip", with_audio=True, only_cuts=only)
    assert packed.manifest.database_schema == revision
    unpack(packed.path, tmp_path / "new")
    with looking_at(tmp_path / "new") as log:
        (cut,) = log.cuts()
        assert cut["cut_time_s"] == 4.0 and cut["chatter_time_s"] == 1.0
        assert cut["analysis"] == {"state": "chatter"}
        assert cut["context"] == {"end_mill": "plum #3", "flutes": 3, "diameter_mm": 6.0}
        assert log.register.uncredited()[0][1].cut_time_s == 4.0
