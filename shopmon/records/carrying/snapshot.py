"""A copy of the database as it is at one moment, with what cannot travel taken out of it.

The copy is made by SQLite's online backup, so a monitor may go on writing meanwhile.
"""

import sqlite3
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from shopmon.errors import SettingError, StoreError
from shopmon.records.carrying.form import SAFE_NAME
from shopmon.records.database import BUSY_TIMEOUT_MS, REVISIONS, unusable
from shopmon.records.folder import FolderPaths
from shopmon.records.sound.filing import sidecar_path

SHORTEST_PREFIX = 8


@dataclass(frozen=True, kw_only=True)
class Contents:
    """What the database names of files beside it.

    ``sound`` are recordings with their sidecars by the id of the recording, ``other`` everything else.
    """

    sound: dict[str, list[Path]]
    other: list[Path]


def copy_database(data: FolderPaths, copy: Path) -> str:
    """Copy the database, log included, check the copy, and return its schema.

    Raises
    ------
    StoreError
        There is no log, it is damaged, or a newer version wrote it.
    """
    if not data.database.is_file():
        raise StoreError(f"There is no log in {data.root}.", "Name its folder with --data.")
    try:
        with closing(_looking_at(data.database)) as source, closing(sqlite3.connect(copy)) as target:
            source.backup(target)
            target.execute("PRAGMA journal_mode=DELETE")  # one file, with no log beside it
            found = target.execute("PRAGMA integrity_check(1)").fetchone()[0]
            if found != "ok":
                raise unusable(data.database, data.backups, found)
            return _schema_of(target, data)
    except sqlite3.DatabaseError as exc:
        raise unusable(data.database, data.backups, exc) from exc


def _looking_at(path: Path) -> sqlite3.Connection:
    location = (
        f"file:{str(path.resolve()).replace('%', '%25').replace('?', '%3f').replace('#', '%23')}?mode=ro"
    )
    return sqlite3.connect(location, uri=True, timeout=BUSY_TIMEOUT_MS / 1000)


def _schema_of(copy: sqlite3.Connection, data: FolderPaths) -> str:
    if "alembic_version" not in tables_in(copy):
        raise StoreError(f"The log in {data.root} is still empty.", "Run 'shopmon listen' on it first.")
    schema = copy.execute("SELECT version_num FROM alembic_version").fetchone()[0]
    if schema not in REVISIONS:
        raise StoreError(
            f"A newer version of this program wrote the log in {data.root} (schema {schema}).",
            "Update this one first.",
        )
    return schema


def tables_in(connection: sqlite3.Connection) -> list[str]:
    """Return the names of the tables of a database."""
    rows = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    )
    return sorted(name for (name,) in rows)


def row_counts(connection: sqlite3.Connection) -> dict[str, int]:
    """Return how many rows each table has."""
    return {
        name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]
        for name in tables_in(connection)
        if name != "alembic_version"
    }


def take_out_what_cannot_travel(connection: sqlite3.Connection) -> list[str]:
    """Remove keys of paired devices and what is not finished; return what that was, in sentences."""
    connection.execute("DELETE FROM paired_devices")
    left_out = ["Paired phones, tablets and controllers: they are to be paired anew."]
    open_cuts = connection.execute("DELETE FROM cuts WHERE NOT ended").rowcount
    if open_cuts:
        left_out.append(f"Cuts that were still going on: {open_cuts}.")
    in_use = "id IN (SELECT recording_id FROM cuts UNION SELECT recording_id FROM kept_spans)"
    unfiled = connection.execute(
        "UPDATE recordings SET state = 'figures-only', path = NULL"
        f" WHERE state IN ('open', 'closing') AND {in_use}"
    ).rowcount
    connection.execute("DELETE FROM recordings WHERE state IN ('open', 'closing')")
    if unfiled:
        left_out.append(f"Recordings that were still being filed: {unfiled}. A later export has them.")
    mend_references(connection)
    return left_out


def mend_references(connection: sqlite3.Connection, drop_with: tuple[str, ...] = ()) -> None:
    """Let no row point to one that is not there: it is made to point nowhere where it may, else it goes too.

    Parameters
    ----------
    connection
        Of a copy.
    drop_with
        Tables whose rows always take those along that point to them.
    """
    while _mend_once(connection, drop_with):
        pass


def _mend_once(connection: sqlite3.Connection, drop_with: tuple[str, ...]) -> bool:
    mended = 0
    for table in tables_in(connection):
        needed = {row[1]: bool(row[3]) for row in connection.execute(f'PRAGMA table_info("{table}")')}
        for key in connection.execute(f'PRAGMA foreign_key_list("{table}")').fetchall():
            other, column = key[2], key[3]
            goes = needed[column] or other in drop_with
            action = f'DELETE FROM "{table}"' if goes else f'UPDATE "{table}" SET "{column}" = NULL'
            dangling = f'"{column}" IS NOT NULL AND "{column}" NOT IN (SELECT id FROM "{other}")'
            mended += connection.execute(f"{action} WHERE {dangling}").rowcount
    return mended > 0


def without_sound(connection: sqlite3.Connection) -> int:
    """Say of every recording that its sound is not there; return how many had some."""
    return connection.execute(
        "UPDATE recordings SET state = 'figures-only', path = NULL, audio_bytes = 0 WHERE state = 'filed'"
    ).rowcount


def sound_is_gone(connection: sqlite3.Connection, recording_ids: Iterable[str]) -> None:
    """Say of some recordings that their sound was removed."""
    connection.executemany(
        "UPDATE recordings SET state = 'removed', audio_bytes = 0 WHERE id = ?",
        [(each,) for each in recording_ids],
    )


def whole_ids(connection: sqlite3.Connection, asked: Iterable[str]) -> list[str]:
    """Return the ids of cuts, each given whole or by its beginning.

    Raises
    ------
    SettingError
        There is no such cut, or more than one begins so.
    """
    found = []
    for word in asked:
        rows = []
        if len(word) >= SHORTEST_PREFIX:
            rows = connection.execute(
                "SELECT id FROM cuts WHERE ended AND substr(id, 1, ?) = ?", (len(word), word)
            ).fetchall()
        if len(rows) != 1:
            what = "More than one cut begins with" if rows else "There is no finished cut"
            raise SettingError(f"{what} {word[:60]!r}.", "The address of its page ends with its id.")
        found.append(rows[0][0])
    return sorted(set(found))


def keep_only(connection: sqlite3.Connection, cut_ids: list[str]) -> None:
    """Take out everything that has nothing to do with these cuts."""
    connection.execute("CREATE TEMP TABLE wanted (id TEXT PRIMARY KEY)")
    connection.executemany("INSERT INTO wanted VALUES (?)", [(each,) for each in cut_ids])
    there = tables_in(connection)
    for statements in (ONLY, ONLY_AFTER):
        for statement in statements:
            if statement.split()[2] in there:
                connection.execute(statement)
        mend_references(connection, drop_with=("cuts", "tools"))
    _keep_only_its_boots(connection)
    connection.execute("DROP TABLE wanted")


_RECORDED = "SELECT recording_id FROM cuts WHERE recording_id IS NOT NULL"
_WITHIN = (
    "NOT EXISTS (SELECT 1 FROM recordings r WHERE r.stream_id = {0}.stream_id"
    " AND {0}.sample BETWEEN r.first_sample AND coalesce(r.end_sample, {0}.sample))"
)
ONLY = (
    "DELETE FROM cuts WHERE id NOT IN (SELECT id FROM wanted)",
    "DELETE FROM kept_spans",
    f"DELETE FROM recordings WHERE id NOT IN ({_RECORDED})",
    "DELETE FROM streams WHERE id NOT IN (SELECT stream_id FROM cuts)",
    "DELETE FROM events WHERE cut_id IS NULL OR cut_id NOT IN (SELECT id FROM wanted)",
    f"DELETE FROM marks WHERE {_WITHIN.format('marks')}",
    "DELETE FROM contexts WHERE id NOT IN (SELECT context_id FROM cuts WHERE context_id IS NOT NULL)"
    f" AND {_WITHIN.format('contexts')}",
    "DELETE FROM stored_values",
    "DELETE FROM listener_states",
    "DELETE FROM beliefs",
    "DELETE FROM tap_tests",
    "DELETE FROM spindle_checks",
    "DELETE FROM blind_trials",
    "DELETE FROM finish_readings WHERE cut_id IS NULL",
    "DELETE FROM wear_limits WHERE type_id IS NULL",
    "DELETE FROM corrections WHERE table_name = 'cuts' AND row_id NOT IN (SELECT id FROM wanted)",
    "DELETE FROM tools WHERE id NOT IN (SELECT end_mill_id FROM contexts WHERE end_mill_id IS NOT NULL)"
    " AND id NOT IN (SELECT json_extract(value, '$') FROM corrections"
    " WHERE table_name = 'cuts' AND field = 'end_mill_id' AND json_extract(value, '$') IS NOT NULL)",
)
ONLY_AFTER = (
    "DELETE FROM wear_limits WHERE type_id NOT IN (SELECT type_id FROM tools WHERE type_id IS NOT NULL)",
    "DELETE FROM mill_types WHERE id NOT IN (SELECT type_id FROM tools WHERE type_id IS NOT NULL)",
    "DELETE FROM holders WHERE id NOT IN (SELECT holder_id FROM tool_assemblies WHERE holder_id IS NOT NULL)",
    "DELETE FROM materials WHERE label NOT IN (SELECT material FROM contexts WHERE material IS NOT NULL)",
    "DELETE FROM parts WHERE label NOT IN (SELECT part FROM contexts WHERE part IS NOT NULL)",
    "DELETE FROM operations WHERE label NOT IN (SELECT operation FROM contexts WHERE operation IS NOT NULL)",
)


def _keep_only_its_boots(connection: sqlite3.Connection) -> None:
    names = [
        name for name in tables_in(connection) if name not in ("alembic_version", "boots", "clock_offsets")
    ]
    seen = " UNION ".join(f'SELECT boot_id FROM "{name}"' for name in names)
    ids = " UNION ALL ".join(f'SELECT id FROM "{name}"' for name in names if name != "corrections")
    connection.execute(f"DELETE FROM corrections WHERE row_id NOT IN ({ids})")
    for table in ("boots", "clock_offsets"):
        connection.execute(f'DELETE FROM "{table}" WHERE boot_id NOT IN ({seen})')


def contents(connection: sqlite3.Connection, data: FolderPaths, *, everything: bool) -> Contents:
    """Return the files that the database names, whether they are there or not."""
    query = "SELECT id, path FROM recordings WHERE state = 'filed' AND path IS NOT NULL ORDER BY sequence"
    sound = {}
    for recording_id, path in connection.execute(query):
        if SAFE_NAME.fullmatch(path):
            sound[recording_id] = [data.root / path, sidecar_path(data.root / path)]
    other = [data.root / path for path in other_paths(connection) if SAFE_NAME.fullmatch(path)]
    if everything and data.programs.is_dir():
        other += sorted(data.programs.glob("*.nc"))
    return Contents(sound=sound, other=other)


def other_paths(connection: sqlite3.Connection) -> list[str]:
    """Return every path in the database that is not a recording's sound."""
    found: set[str] = set()
    for table in tables_in(connection):
        columns = [row[1] for row in connection.execute(f'PRAGMA table_info("{table}")')]
        for column in columns:
            if (column == "path" and table != "recordings") or column.endswith("_path"):
                rows = connection.execute(f'SELECT "{column}" FROM "{table}" WHERE "{column}" IS NOT NULL')
                found |= {path for (path,) in rows if isinstance(path, str)}
    return sorted(found)


def tidy(connection: sqlite3.Connection) -> None:
    """Let nothing of what was taken out stay behind in the file."""
    connection.commit()
    connection.execute("VACUUM")
