"""What the register answers: the tools as they stand today, each with what it has cut."""

from collections import defaultdict
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

import sqlalchemy as sa

from shopmon.cutting.nouns import Holder
from shopmon.errors import SettingError
from shopmon.records.credit import NOTHING, Totals, credited_cuts, edge_spans, retirements, sums, totals_of
from shopmon.records.cut_rows import dated
from shopmon.records.register_fields import FIELDS, same_label, type_of
from shopmon.records.register_rows import Assembly, Edge, EdgeLife, Kind, Photo, Retirement, Tool, WearReading
from shopmon.records.tables import contexts, corrections
from shopmon.records.tool_tables import metadata

Connect = Callable[[], AbstractContextManager[sa.Connection]]


class RegisterReading:
    """Reads the register; every answer is made anew from the rows.

    Parameters
    ----------
    connect
        Gives a connection that only reads.
    """

    def __init__(self, connect: Connect):
        self._connect = connect

    # rows with their corrections

    def rows(self, table: str, **where: Any) -> list[dict]:
        """Return the rows of one of the register's tables as they stand, oldest first, with their ``t``."""
        with self._connect() as connection:
            return _standing(connection, table, where)

    def row(self, table: str, row_id: str) -> dict:
        """Return one row as it stands.

        Raises
        ------
        SettingError
            There is no such row.
        """
        found = self.rows(table, id=row_id)
        if not found:
            raise SettingError(f"The register has no such entry ({row_id!r}).", "Look at the list again.")
        return found[0]

    def corrections_of(self, *row_ids: str) -> list[dict]:
        """Return every correction of some rows, oldest first."""
        query = sa.select(corrections).where(corrections.c.row_id.in_(row_ids))
        with self._connect() as connection:
            return dated(connection, connection.execute(query.order_by(corrections.c.sequence)))

    def kinds(self) -> list[Kind]:
        """Return the types of end mills, by label."""
        rows = self.rows("mill_types")
        return sorted((_kind(row) for row in rows), key=lambda kind: same_label(kind.label))

    # tools

    def tools(self, *, totals: bool = True) -> list[Tool]:
        """Return every tool in the order in which they were entered, with what it cut if asked for."""
        with self._connect() as connection:
            return _Shelf(connection, totals=totals).tools()

    def tool(self, tool_id: str) -> Tool | None:
        """Return one tool, None where the register does not know it."""
        with self._connect() as connection:
            found = _Shelf(connection, tool_id).tools()
        return found[0] if found else None

    def find(self, word: str) -> Tool | None:
        """Return the tool of this id or label, one in use before a retired one, without its totals."""
        with self._connect() as connection:
            shelf = _Shelf(connection, totals=False).tools()
        wanted = same_label(word)
        named = [tool for tool in shelf if word == tool.id or same_label(tool.label) == wanted]
        named.sort(key=lambda tool: (word == tool.id, tool.retirement is None, tool.sequence))
        return named[-1] if named else None

    def last_told_rpm(self, tool_id: str) -> float | None:
        """Return the speed that was told last while this tool was in the spindle; None when none was."""
        query = (
            sa.select(contexts.c.nominal_rpm)
            .where(contexts.c.end_mill_id == tool_id, contexts.c.nominal_rpm.is_not(None))
            .order_by(contexts.c.sequence.desc())
            .limit(1)
        )
        with self._connect() as connection:
            return connection.execute(query).scalar()

    def starting_with(self, prefix: str) -> str | None:
        """Return the id of the one tool whose id begins so, as on a printed label; else None."""
        tools = metadata.tables["tools"]
        query = sa.select(tools.c.id).where(tools.c.id.startswith(prefix, autoescape=True)).limit(2)
        with self._connect() as connection:
            found = connection.execute(query).scalars().all()
        return found[0] if len(found) == 1 else None

    def recent(self, limit: int = 6) -> list[Tool]:
        """Return the tools in use that were in the spindle last, newest first, then those entered last."""
        newest = (
            sa.select(contexts.c.end_mill_id, sa.func.max(contexts.c.sequence))
            .where(contexts.c.end_mill_id.is_not(None))
            .group_by(contexts.c.end_mill_id)
        )
        with self._connect() as connection:
            used = {row[0]: row[1] for row in connection.execute(newest)}
            shelf = _Shelf(connection, totals=False)
            standing = [tool for tool in shelf.tools() if tool.retirement is None]
        standing.sort(key=lambda tool: (used.get(tool.id, 0), tool.sequence), reverse=True)
        return standing[:limit]

    def edges(self, tool_id: str) -> list[tuple[Edge, Totals, Retirement | None]]:
        """Return the edges of a tool, oldest first, with what each cut and how it ended."""
        with self._connect() as connection:
            shelf = _Shelf(connection, tool_id)
            return [
                (edge, shelf.totals.get(edge.id, NOTHING), shelf.retired.get(edge.id))
                for edge in shelf.edges[tool_id]
            ]

    def by_material(self, tool_id: str) -> list[tuple[str | None, Totals]]:
        """Return what a tool cut of each material, most first; None where nobody said."""
        cut = credited_cuts()
        query = sa.select(cut.c.material, *sums(cut)).where(cut.c.tool_id == tool_id)
        with self._connect() as connection:
            found = [
                (row.material, totals_of(row)) for row in connection.execute(query.group_by(cut.c.material))
            ]
        return sorted(found, key=lambda each: -each[1].cut_time_s)

    def uncredited(self) -> list[tuple[str | None, Totals]]:
        """Return what is credited to no tool, by the name that was said; None where nothing was said."""
        cut = credited_cuts()
        query = sa.select(cut.c.said_label, *sums(cut)).where(cut.c.tool_id.is_(None))
        with self._connect() as connection:
            found = [
                (row.said_label, totals_of(row))
                for row in connection.execute(query.group_by(cut.c.said_label))
            ]
        return sorted(found, key=lambda each: -each[1].cut_time_s)

    def lives(self, type_id: str | None = None) -> list[EdgeLife]:
        """Return every edge of the end mills (of one type) with what it cut until it was retired."""
        with self._connect() as connection:
            return _Shelf(connection, totals=False).lives(type_id)

    def version(self) -> tuple[int, ...]:
        """Return what differs whenever anything that the register's answers rest on has changed."""
        names = (*FIELDS, "cuts", "analyses", "corrections", "judgements")
        newest = [
            sa.select(sa.func.coalesce(sa.func.max(metadata.tables[name].c.sequence), 0)).scalar_subquery()
            for name in names
        ]
        with self._connect() as connection:
            return tuple(connection.execute(sa.select(*newest)).one())

    # what is known of one

    def assemblies(self, tool_id: str) -> list[Assembly]:
        """Return the assemblies of a tool, oldest first."""
        with self._connect() as connection:
            return _assemblies(connection, tool_id)

    def wear(self, tool_id: str) -> list[WearReading]:
        """Return the wear readings of a tool, oldest first, each with the cut time of the edge by then."""
        cut, edge = credited_cuts(), edge_spans()
        own = sa.select(edge).where(edge.c.tool_id == tool_id).order_by(edge.c.number)
        times = (
            sa.select(cut.c.sequence, cut.c.cut_time_s)
            .where(cut.c.tool_id == tool_id)
            .order_by(cut.c.sequence)
        )
        with self._connect() as connection:
            readings = _standing(connection, "wear_readings", {"tool_id": tool_id})
            if not readings:
                return []
            spans = connection.execute(own).all()
            cuts = connection.execute(times).all()
        return [_wear_reading(row, spans, cuts) for row in readings]

    def wear_limit_mm(self, type_id: str | None, operation: str | None = None) -> float | None:
        """Return the person's own limit of flank wear, the most special one that fits; None when unset."""
        best: tuple[int, float] | None = None
        for row in self.rows("wear_limits"):
            fits = row["type_id"] in (None, type_id) and row["operation"] in (None, operation)
            rank = 2 * (row["type_id"] is not None) + (row["operation"] is not None)
            if fits and (best is None or rank >= best[0]):
                best = (rank, row["VB_mm"])
        return best[1] if best else None

    def photos(self, tool_id: str) -> list[Photo]:
        """Return the photographs of a tool, newest first."""
        kept = Photo.__dataclass_fields__
        rows = self.rows("tool_photos", tool_id=tool_id)
        return [Photo(**{name: row[name] for name in kept}) for row in reversed(rows)]


class _Shelf:
    """The tools, or one of them, put together from a handful of queries."""

    def __init__(self, connection: sa.Connection, tool_id: str | None = None, *, totals: bool = True):
        self._connection = connection
        one = {} if tool_id is None else {"tool_id": tool_id}
        self._rows = _standing(connection, "tools", {} if tool_id is None else {"id": tool_id})
        self._kinds = {row["id"]: _kind(row) for row in _standing(connection, "mill_types", {})}
        self.edges: dict[str, list[Edge]] = defaultdict(list)
        for edge in _edges(connection, tool_id):
            self.edges[edge.tool_id].append(edge)
        self.retired: dict[str, Retirement] = {}
        for row in _standing(connection, "tool_retirements", one):
            kept = {name: row[name] for name in Retirement.__dataclass_fields__}
            if not row["withdrawn"]:
                self.retired[row["edge_id"]] = Retirement(**kept)
        self._assemblies = _present_assemblies(connection)
        self.totals = _totals_of_edges(connection, tool_id) if totals else {}

    def tools(self) -> list[Tool]:
        return [self._tool(row) for row in self._rows]

    def lives(self, type_id: str | None) -> list[EdgeLife]:
        by_material = _totals_by_material(self._connection)
        return [
            EdgeLife(
                tool_id=tool.id,
                label=tool.label,
                type_id=tool.type_id,
                edge=edge,
                retirement=self.retired.get(edge.id),
                by_material=by_material.get(edge.id, {}),
            )
            for tool in self.tools()
            if tool.is_end_mill and type_id in (None, tool.type_id)
            for edge in self.edges[tool.id]
        ]

    def _tool(self, row: dict) -> Tool:
        edge = self.edges[row["id"]][-1]
        kind = self._kinds.get(row["type_id"])
        return Tool(
            **{name: row[name] for name in ("id", "label", "kind", "sequence", "t", "flutes", "note")},
            type_id=row["type_id"],
            type=kind.type if kind else None,
            edge=edge,
            edge_totals=self.totals.get(edge.id, NOTHING),
            totals=_added(self.totals.get(each.id, NOTHING) for each in self.edges[row["id"]]),
            retirement=self.retired.get(edge.id),
            assembly=self._assemblies.get(row["id"]),
        )


def _standing(connection: sa.Connection, name: str, where: dict[str, Any]) -> list[dict]:
    """Read rows with what was said last of each field, in the order in which they were made."""
    table = metadata.tables[name]
    query = sa.select(table).order_by(table.c.sequence)
    for column, value in where.items():
        query = query.where(table.c[column] == value)
    rows = dated(connection, connection.execute(query))
    said = sa.select(corrections.c.row_id, corrections.c.field, corrections.c.value).where(
        corrections.c.table_name == name
    )
    if where:
        said = said.where(corrections.c.row_id.in_([row["id"] for row in rows]))
    by_id = {row["id"]: row for row in rows}
    for row_id, field, value in connection.execute(said.order_by(corrections.c.sequence)):
        if row_id in by_id and field in FIELDS[name]:
            by_id[row_id][field] = value
    return rows


def _kind(row: dict) -> Kind:
    return Kind(
        type=type_of(row), **{name: row[name] for name in Kind.__dataclass_fields__ if name != "type"}
    )


def _edges(connection: sa.Connection, tool_id: str | None) -> list[Edge]:
    span = edge_spans()
    rows = {
        row["id"]: row
        for row in _standing(connection, "tool_edges", {} if tool_id is None else {"tool_id": tool_id})
    }
    query = sa.select(span).order_by(span.c.tool_id, span.c.number)
    if tool_id is not None:
        query = query.where(span.c.tool_id == tool_id)
    return [
        Edge(
            number=each.number,
            from_sequence=each.from_sequence,
            until_sequence=each.until_sequence,
            **{name: rows[each.id][name] for name in ("id", "tool_id", "t", "DC", "LCF", "coating", "note")},
        )
        for each in connection.execute(query)
        if each.id in rows
    ]


def _assemblies(connection: sa.Connection, tool_id: str | None = None) -> list[Assembly]:
    holders = {
        row["id"]: Holder(label=row["label"], kind=row["kind"], RPMX=row["RPMX"])
        for row in _standing(connection, "holders", {})
    }
    rows = _standing(connection, "tool_assemblies", {} if tool_id is None else {"tool_id": tool_id})
    names = [name for name in Assembly.__dataclass_fields__ if name != "holder"]
    return [
        Assembly(holder=holders.get(row["holder_id"]), **{name: row[name] for name in names}) for row in rows
    ]


def _present_assemblies(connection: sa.Connection) -> dict[str, Assembly]:
    """Return the assembly of each tool that is in a holder: one holder holds one tool."""
    newest: dict[str, Assembly] = {}
    holds: dict[str, str] = {}
    for made in _assemblies(connection):
        newest[made.tool_id] = made
        if made.holder_id:
            holds[made.holder_id] = made.tool_id
    return {
        tool_id: made
        for tool_id, made in newest.items()
        if not made.apart and (made.holder_id is None or holds[made.holder_id] == tool_id)
    }


def _with_edges(cut: sa.Subquery, edge: sa.Subquery) -> sa.ColumnElement:
    return sa.and_(
        edge.c.tool_id == cut.c.tool_id,
        cut.c.sequence >= edge.c.from_sequence,
        cut.c.sequence < edge.c.until_sequence,
    )


def _totals_of_edges(connection: sa.Connection, tool_id: str | None) -> dict[str, Totals]:
    cut, edge = credited_cuts(), edge_spans()
    query = sa.select(edge.c.id, *sums(cut)).join(edge, _with_edges(cut, edge)).group_by(edge.c.id)
    if tool_id is not None:
        query = query.where(cut.c.tool_id == tool_id)
    return {row.id: totals_of(row) for row in connection.execute(query)}


def _totals_by_material(connection: sa.Connection) -> dict[str, dict]:
    """Add up per edge and material what was cut before the edge was retired."""
    cut, edge, end = credited_cuts(), edge_spans(), retirements()
    query = (
        sa.select(edge.c.id, cut.c.material, *sums(cut))
        .join(edge, _with_edges(cut, edge))
        .outerjoin(end, end.c.edge_id == edge.c.id)
        .where(cut.c.sequence < sa.func.coalesce(end.c.sequence, 2**62))
        .group_by(edge.c.id, cut.c.material)
    )
    found: dict[str, dict] = defaultdict(dict)
    for row in connection.execute(query):
        found[row.id][row.material] = totals_of(row)
    return found


def _added(parts) -> Totals:
    """Add totals up."""
    parts = [each for each in parts if each.cuts]
    ends = {
        "first_sequence": min((each.first_sequence for each in parts), default=None),
        "last_sequence": max((each.last_sequence for each in parts), default=None),
    }
    names = [name for name in Totals.__dataclass_fields__ if name not in ends]
    return Totals(**{name: sum(getattr(each, name) for each in parts) for name in names}, **ends)


def _wear_reading(row: dict, spans: list[sa.Row], cuts: list[sa.Row]) -> WearReading:
    own = [span for span in spans if span.from_sequence <= row["sequence"] < span.until_sequence]
    first = own[0].from_sequence if own else 0
    cut_time_s = sum(cut.cut_time_s for cut in cuts if first <= cut.sequence < row["sequence"])
    kept = {
        name: row[name] for name in WearReading.__dataclass_fields__ if name not in ("edge_id", "cut_time_s")
    }
    return WearReading(edge_id=own[0].id if own else None, cut_time_s=cut_time_s, **kept)
