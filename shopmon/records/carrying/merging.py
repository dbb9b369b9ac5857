"""Takes the rows of one database into another: rows that are there stay as they are, and nothing is replaced.

Imported rows come after those that are there, in the order they had: their sequence numbers are moved up.
What the newest row decides (preferences, the context, what was learned) is not changed by rows that come
from elsewhere.
"""

import json
import sqlite3
import uuid
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

import sqlalchemy as sa

from shopmon.errors import StoreError
from shopmon.records.carrying.checking import row_checker
from shopmon.records.carrying.form import bad_archive
from shopmon.records.programs import DOUBT, PROGRAM, TOOLS
from shopmon.records.tables import beliefs, contexts, corrections, listener_states, recordings, stored_values
from shopmon.records.tools.tables import metadata, tools

NEVER = ("paired_devices",)
# which column says of what a row is the newest word; the word that is here stays
NEWEST_COUNTS = {beliefs: "key", listener_states: "source_id", stored_values: "key"}
STAMP = ("id", "sequence", "boot_id", "monotonic_s")
LISTS = (PROGRAM, TOOLS, DOUBT)  # keys whose every row counts
NAMED = 20


@dataclass(kw_only=True)
class Merged:
    """What became of the rows.

    Attributes
    ----------
    added, known
        Rows of each table that are new, and that were there already, with the same content.
    conflicts
        Sentences: what is here otherwise than in the archive. What is here stays.
    paths
        Files that the new rows name.
    sound_for
        Recordings that were here without sound and get it.
    """

    added: Counter = field(default_factory=Counter)
    known: Counter = field(default_factory=Counter)
    conflicts: list[str] = field(default_factory=list)
    paths: set[str] = field(default_factory=set)
    sound_for: list[str] = field(default_factory=list)


def merge(target: sqlite3.Connection, source: sqlite3.Connection) -> Merged:
    """Take every row of `source` that is not in `target`, within the transaction that is open.

    Raises
    ------
    StoreError
        A row cannot be.
    """
    highest = highest_sequence(target)
    fresh = _is_fresh(target)
    done = Merged()
    broken_before = set(target.execute("PRAGMA foreign_key_check"))
    now = _current_context(target)
    settled = {} if fresh else _settled(target)
    for table in metadata.sorted_tables:
        if table.name not in NEVER:
            _merge_table(table, target, source, 0 if fresh else highest, settled, done)
    if not fresh and now and done.added["contexts"]:
        _say_context_again(target, now)
    _name_doubles(target, done)
    for broken in set(target.execute("PRAGMA foreign_key_check")) - broken_before:
        raise bad_archive(f"a row of its table {broken[0]} points to none of {broken[2]}")
    return done


def highest_sequence(connection: sqlite3.Connection) -> int:
    """Return the highest sequence number of any table, 0 where there is no row."""
    each = (f'SELECT max(sequence) FROM "{table.name}"' for table in metadata.sorted_tables)
    return max(connection.execute(query).fetchone()[0] or 0 for query in each)


def _is_fresh(connection: sqlite3.Connection) -> bool:
    each = (f'SELECT 1 FROM "{table.name}" LIMIT 1' for table in metadata.sorted_tables)
    return not any(connection.execute(query).fetchone() for query in each)


def _settled(target: sqlite3.Connection) -> dict[str, set]:
    """Return of each table whose newest row counts, about what there is a word here."""
    return {
        table.name: {row[0] for row in target.execute(f'SELECT DISTINCT "{column}" FROM "{table.name}"')}
        for table, column in NEWEST_COUNTS.items()
    }


def _merge_table(
    table: sa.Table,
    target: sqlite3.Connection,
    source: sqlite3.Connection,
    shift: int,
    settled: dict[str, set],
    done: Merged,
) -> None:
    names = [column.name for column in table.columns]
    listed, marks = ", ".join(f'"{name}"' for name in names), ", ".join("?" * len(names))
    check, refused = row_checker(table), _refuser(table, target, source, settled, done)
    moved = [index for index, name in enumerate(names) if name == "sequence" or name.endswith("_sequence")]
    insert = f'INSERT INTO "{table.name}" ({listed}) VALUES ({marks})'
    find = f'SELECT {listed} FROM "{table.name}" WHERE id = ?'
    for row in source.execute(f'SELECT {listed} FROM "{table.name}" ORDER BY sequence'):
        check(row)
        here = target.execute(find, (row[0],)).fetchone()
        if here is not None:
            _compare(table, names, here, row, moved, target, done)
        elif not refused(dict(zip(names, row, strict=True))):
            values = list(row)
            for index in moved:
                values[index] += shift
            try:
                target.execute(insert, values)
            except sqlite3.IntegrityError as exc:
                raise bad_archive(f"a row of its table {table.name} cannot be ({exc})") from exc
            done.added[table.name] += 1
            done.paths |= {row[i] for i, name in enumerate(names) if _is_path(name) and row[i]}


def _is_path(name: str) -> bool:
    return name == "path" or name.endswith("_path")


def _compare(table, names, here: tuple, row: tuple, moved: list[int], target, done: Merged) -> None:
    """Name what differs between a row that is here and the same one in the archive; the one here stays."""
    differing = {
        name
        for index, name in enumerate(names)
        if index not in moved and not _same(table.columns[name], here[index], row[index])
    }
    if not differing:
        done.known[table.name] += 1
        return
    values = dict(zip(names, row, strict=True))
    if table is recordings and _brings_sound(dict(zip(names, here, strict=True)), values):
        told = {name: value for name, value in values.items() if name not in STAMP}
        changes = ", ".join(f'"{name}" = ?' for name in told)
        target.execute(f"UPDATE recordings SET {changes} WHERE id = ?", (*told.values(), row[0]))
        done.sound_for.append(row[0])
        done.paths |= {values["path"], values["features_path"]} - {None}
        return
    if table is recordings and differing <= {"state", "path", "audio_bytes"}:
        done.known[table.name] += 1  # sound that is here and not there, or that was removed here
        return
    _name(done, f"{table.name} {row[0]}: {', '.join(sorted(differing))}")


def _brings_sound(here: dict, there: dict) -> bool:
    """Tell whether sound comes to a recording that never had any here; what was removed stays removed."""
    same = all(here[name] == there[name] for name in ("stream_id", "source_id", "sample_rate_hz", "channels"))
    return same and here["state"] == "figures-only" and there["state"] == "filed"


def _same(column: sa.Column, here, there) -> bool:
    if here == there:
        return True
    if isinstance(column.type, sa.JSON) and isinstance(here, str) and isinstance(there, str):
        return json.loads(here) == json.loads(there)
    return False


def _name(done: Merged, text: str) -> None:
    if len(done.conflicts) < NAMED:
        done.conflicts.append(text)
    elif len(done.conflicts) == NAMED:
        done.conflicts.append("and more")


def _refuser(table, target, source, settled, done: Merged) -> Callable[[dict], bool]:
    """Return what tells whether a new row must stay out because a word that is here counts."""
    if table in NEWEST_COUNTS:
        column, known = NEWEST_COUNTS[table], settled.get(table.name, set())
        return lambda row: row[column] in known and row[column] not in LISTS
    if table is corrections:
        return lambda row: _said_otherwise(row, target, source, done)
    return lambda row: False


def _said_otherwise(row: dict, target, source, done: Merged) -> bool:
    """Tell whether somebody here set the same value right, of which the archive does not know."""
    about = (row["table_name"], row["row_id"], row["field"])
    newest = target.execute(
        "SELECT id FROM corrections WHERE table_name = ? AND row_id = ? AND field = ? ORDER BY sequence DESC",
        about,
    ).fetchone()
    if newest is None or source.execute("SELECT 1 FROM corrections WHERE id = ?", newest).fetchone():
        return False
    _name(done, f"{row['table_name']} {row['row_id']}: {row['field']} was set right here and there")
    return True


def _current_context(target: sqlite3.Connection) -> dict | None:
    names = [column.name for column in contexts.columns]
    row = target.execute(f"SELECT {', '.join(names)} FROM contexts ORDER BY sequence DESC LIMIT 1").fetchone()
    return dict(zip(names, row, strict=True)) if row else None


def _say_context_again(target: sqlite3.Connection, now: dict) -> None:
    """What is in the spindle here is not what was in it there."""
    row = {
        **now,
        "id": str(uuid.uuid4()),
        "sequence": highest_sequence(target) + 1,
        "stream_id": None,
        "sample": None,
    }
    target.execute(
        f"INSERT INTO contexts ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})", list(row.values())
    )


def _name_doubles(target: sqlite3.Connection, done: Merged) -> None:
    if not done.added[tools.name]:
        return
    query = "SELECT label, count(*) FROM tools GROUP BY lower(trim(label)) HAVING count(*) > 1"
    for label, count in target.execute(query).fetchall():
        _name(done, f"{count} tools are labelled {label[:60]!r}: give one of them another label")


def as_store_error(exc: sqlite3.Error) -> StoreError:
    """Translate what the database said while rows were taken over."""
    return StoreError(
        f"The rows cannot be taken over ({exc}).", "Nothing was changed. Look at the free space."
    )
