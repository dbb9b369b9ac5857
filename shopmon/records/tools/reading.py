"""What the register answers: the tools as they stand today, each with what it has cut."""

from collections import defaultdict
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

import sqlalchemy as sa

from shopmon.errors import SettingError
from shopmon.records.cuts.credit import (
    Totals,
    added,
    credited_cuts,
    each,
    edge_spans,
    retirements,
    sums,
    totals_of,
)
from shopmon.records.cuts.heard import HeardCut, heard_cuts
from shopmon.records.cuts.rows import dated
from shopmon.records.tables import contexts, corrections
from shopmon.records.tools.fields import FIELDS, same_label
from shopmon.records.tools.rows import (
    Assembly,
    Edge,
    EdgeLife,
    Kind,
    Photo,
    Retirement,
    Tool,
    ToolRecord,
    WearReading,
)
from shopmon.records.tools.shelf import Shelf, assemblies, kind_of, standing
from shopmon.records.tools.tables import metadata

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
            return standing(connection, table, {name: [value] for name, value in where.items()})

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
        return sorted((kind_of(row) for row in rows), key=lambda kind: same_label(kind.label))

    # tools

    def shelf(self) -> tuple[list[Tool], list[tuple[str | None, Totals]]]:
        """Return every tool with its totals, and what is credited to none.

        The latter by the name that was said, most first; None where nothing was said.
        """
        with self._connect() as connection:
            by_edge, uncredited = _totals(connection)
            return Shelf(connection).tools(by_edge), uncredited

    def tools(self, *, totals: bool = True) -> list[Tool]:
        """Return every tool in the order in which they were entered, with what it cut if asked for."""
        if totals:
            return self.shelf()[0]
        with self._connect() as connection:
            return Shelf(connection).tools({})

    def uncredited(self) -> list[tuple[str | None, Totals]]:
        """Return what is credited to no tool, as `shelf` does."""
        with self._connect() as connection:
            return _totals(connection)[1]

    def record(self, tool_id: str) -> ToolRecord | None:
        """Return all that is known of one tool, None where the register does not know it."""
        with self._connect() as connection:
            shelf = Shelf(connection, [tool_id])
            if not shelf.rows:
                return None
            cut = credited_cuts(one=True)
            query = sa.select(cut.c.material, *each(cut)).where(cut.c.tool_id == sa.bindparam("tool_id"))
            cuts = [(row.material, totals_of(row)) for row in connection.execute(query, {"tool_id": tool_id})]
            readings = standing(connection, "wear_readings", {"tool_id": [tool_id]})
        return _record(shelf, tool_id, cuts, readings)

    def heard_cuts(self, tool_id: str) -> list[HeardCut]:
        """Return the cuts of a tool, oldest first, with how each sounded while it was steady."""
        with self._connect() as connection:
            return heard_cuts(connection, tool_id)

    def tool(self, tool_id: str) -> Tool | None:
        """Return one tool, None where the register does not know it."""
        record = self.record(tool_id)
        return record.tool if record else None

    def find(self, word: str) -> Tool | None:
        """Return the tool of this id or label, one in use before a retired one, without its totals."""
        wanted = same_label(word)
        with self._connect() as connection:
            rows = standing(connection, "tools", {"id": [word]}) or [
                row for row in standing(connection, "tools") if same_label(row["label"]) == wanted
            ]
            named = Shelf(connection, [row["id"] for row in rows]).tools({}) if rows else []
        named.sort(key=lambda tool: (tool.retirement is None, tool.sequence))
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
        tools = metadata.tables["tools"]
        used = sa.func.coalesce(sa.func.max(contexts.c.sequence), 0)
        query = (
            sa.select(tools.c.id)
            .outerjoin(contexts, contexts.c.end_mill_id == tools.c.id)
            .group_by(tools.c.id)
            .order_by(used.desc(), tools.c.sequence.desc())
        )
        with self._connect() as connection:
            ids = list(connection.execute(query).scalars())
            found: list[Tool] = []
            for first in range(0, len(ids), 4 * limit):
                some = {tool.id: tool for tool in Shelf(connection, ids[first : first + 4 * limit]).tools({})}
                found += [some[tool_id] for tool_id in ids if tool_id in some]
                found = [tool for tool in found if tool.retirement is None]
                if len(found) >= limit:
                    break
        return found[:limit]

    def edges(self, tool_id: str) -> list[tuple[Edge, Totals, Retirement | None]]:
        """Return the edges of a tool, oldest first, with what each cut and how it ended."""
        return self._record(tool_id).edges

    def by_material(self, tool_id: str) -> list[tuple[str | None, Totals]]:
        """Return what a tool cut of each material, most first; None where nobody said."""
        return self._record(tool_id).by_material

    def wear(self, tool_id: str) -> list[WearReading]:
        """Return the wear readings of a tool, oldest first, each with the cut time of the edge by then."""
        return self._record(tool_id).readings

    def _record(self, tool_id: str) -> ToolRecord:
        record = self.record(tool_id)
        if record is None:
            raise SettingError("The register has no such tool.", "Look at the list under End mills.")
        return record

    def lives(self, type_id: str | None = None) -> list[EdgeLife]:
        """Return every edge of the end mills (of one type) with what it cut until it was retired."""
        with self._connect() as connection:
            shelf, by_material = Shelf(connection), _totals_by_material(connection)
            return [
                EdgeLife(
                    tool_id=tool.id,
                    label=tool.label,
                    type_id=tool.type_id,
                    edge=edge,
                    retirement=shelf.retired.get(edge.id),
                    by_material=by_material.get(edge.id, {}),
                )
                for tool in shelf.tools({})
                if tool.is_end_mill and type_id in (None, tool.type_id)
                for edge in shelf.edges[tool.id]
            ]

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
            return assemblies(connection, tool_id)

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


def _record(shelf: Shelf, tool_id: str, cuts: list[tuple[str | None, Totals]], readings) -> ToolRecord:
    edges = shelf.edges[tool_id]

    def within(edge: Edge, end: int) -> list[Totals]:
        return [part for _, part in cuts if edge.from_sequence <= part.first_sequence < end]

    by_edge = {edge.id: added(within(edge, edge.until_sequence)) for edge in edges}
    materials: dict[str | None, list[Totals]] = defaultdict(list)
    for material, part in cuts:
        materials[material].append(part)
    summed = [(material, added(parts)) for material, parts in materials.items()]
    return ToolRecord(
        tool=shelf.tools(by_edge)[0],
        edges=[(edge, by_edge[edge.id], shelf.retired.get(edge.id)) for edge in edges],
        by_material=sorted(summed, key=lambda each: -each[1].cut_time_s),
        readings=[_reading(row, edges, within) for row in readings],
    )


def _reading(row: dict, edges: list[Edge], within) -> WearReading:
    own = [edge for edge in edges if edge.from_sequence <= row["sequence"] < edge.until_sequence]
    edge = own[0] if own else edges[0]
    derived = {"edge_id": edge.id, "cut_time_s": added(within(edge, row["sequence"])).cut_time_s}
    return WearReading(
        **{name: row[name] for name in WearReading.__dataclass_fields__ if name not in derived}, **derived
    )


def _with_edges(cut: sa.Subquery, edge: sa.Subquery) -> sa.ColumnElement:
    return sa.and_(
        edge.c.tool_id == cut.c.tool_id,
        cut.c.sequence >= edge.c.from_sequence,
        cut.c.sequence < edge.c.until_sequence,
    )


def _totals(connection: sa.Connection) -> tuple[dict[str, Totals], list[tuple[str | None, Totals]]]:
    """Add up, at one look through the cuts, per edge and, of what has none, per name that was said."""
    cut, edge = credited_cuts(), edge_spans()
    said = sa.case((edge.c.id.is_(None), cut.c.said_label)).label("said")
    query = (
        sa.select(edge.c.id, said, *sums(cut))
        .outerjoin(edge, _with_edges(cut, edge))
        .group_by(edge.c.id, said)
    )
    rows = connection.execute(query).all()
    by_edge = {row.id: totals_of(row) for row in rows if row.id is not None}
    nobody = [(row.said, totals_of(row)) for row in rows if row.id is None]
    return by_edge, sorted(nobody, key=lambda each: -each[1].cut_time_s)


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
