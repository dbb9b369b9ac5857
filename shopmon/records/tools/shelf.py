"""Tools put together from their rows, with every correction that was made since."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

import sqlalchemy as sa

from shopmon.cutting.nouns import Holder
from shopmon.records.cuts.credit import NOTHING, Totals, added, edge_spans
from shopmon.records.cuts.rows import dated
from shopmon.records.tables import corrections
from shopmon.records.tools.fields import FIELDS, type_of
from shopmon.records.tools.rows import Assembly, Edge, Kind, Retirement, Tool
from shopmon.records.tools.tables import metadata


class Shelf:
    """The tools, all or some, as they stand.

    Parameters
    ----------
    connection
        To read with.
    tool_ids
        The only ones that are asked for; None for all.

    Attributes
    ----------
    rows
        Of the tools, in the order in which they were entered.
    edges
        Per tool, oldest first.
    retired
        The retirement that stands, per edge.
    """

    def __init__(self, connection: sa.Connection, tool_ids: Sequence[str] | None = None):
        some = {} if tool_ids is None else {"tool_id": tool_ids}
        self.rows = standing(connection, "tools", {} if tool_ids is None else {"id": tool_ids})
        self._kinds = {row["id"]: kind_of(row) for row in standing(connection, "mill_types")}
        self.edges: dict[str, list[Edge]] = defaultdict(list)
        for edge in _edges(connection, some):
            self.edges[edge.tool_id].append(edge)
        self.retired: dict[str, Retirement] = {}
        for row in standing(connection, "tool_retirements", some):
            if not row["withdrawn"]:
                kept = {name: row[name] for name in Retirement.__dataclass_fields__}
                self.retired[row["edge_id"]] = Retirement(**kept)
        self._assemblies = present_assemblies(connection)

    def tools(self, totals: Mapping[str, Totals]) -> list[Tool]:
        """Return the tools, with the totals of their edges as given."""
        return [self._tool(row, totals) for row in self.rows]

    def _tool(self, row: dict, totals: Mapping[str, Totals]) -> Tool:
        edges = self.edges[row["id"]]
        kind = self._kinds.get(row["type_id"])
        cut = [totals.get(edge.id, NOTHING) for edge in edges]
        return Tool(
            **{name: row[name] for name in ("id", "label", "kind", "sequence", "t", "flutes", "note")},
            type_id=row["type_id"],
            type=kind.type if kind else None,
            edge=edges[-1],
            edge_totals=cut[-1],
            totals=cut[0] if len(cut) == 1 else added(cut),
            retirement=self.retired.get(edges[-1].id),
            assembly=self._assemblies.get(row["id"]),
        )


def standing(
    connection: sa.Connection, name: str, where: Mapping[str, Sequence[Any]] = MappingProxyType({})
) -> list[dict]:
    """Read rows with what was said last of each field, in the order in which they were made.

    Parameters
    ----------
    name
        Of the table.
    where
        Per column the values that are asked for.
    """
    table = metadata.tables[name]
    query = sa.select(table).order_by(table.c.sequence)
    for column, values in where.items():
        query = query.where(table.c[column].in_(list(values)))
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


def kind_of(row: dict) -> Kind:
    """Make a type of its row."""
    others = {name: row[name] for name in Kind.__dataclass_fields__ if name != "type"}
    return Kind(type=type_of(row), **others)


def _edges(connection: sa.Connection, some: Mapping[str, Sequence[str]]) -> list[Edge]:
    span = edge_spans()
    rows = {row["id"]: row for row in standing(connection, "tool_edges", some)}
    query = sa.select(span).order_by(span.c.tool_id, span.c.number)
    if some:
        query = query.where(span.c.tool_id.in_(list(some["tool_id"])))
    kept = ("id", "tool_id", "t", "DC", "LCF", "coating", "note")
    return [
        Edge(
            number=each.number,
            from_sequence=each.from_sequence,
            until_sequence=each.until_sequence,
            **{name: rows[each.id][name] for name in kept},
        )
        for each in connection.execute(query)
    ]


def assemblies(connection: sa.Connection, tool_id: str | None = None) -> list[Assembly]:
    """Return the assemblies (of one tool), oldest first."""
    holders = {
        row["id"]: Holder(label=row["label"], kind=row["kind"], RPMX=row["RPMX"])
        for row in standing(connection, "holders")
    }
    rows = standing(connection, "tool_assemblies", {} if tool_id is None else {"tool_id": [tool_id]})
    names = [name for name in Assembly.__dataclass_fields__ if name != "holder"]
    return [
        Assembly(holder=holders.get(row["holder_id"]), **{name: row[name] for name in names}) for row in rows
    ]


def present_assemblies(connection: sa.Connection) -> dict[str, Assembly]:
    """Return the assembly of each tool that is in a holder: one holder holds one tool."""
    newest: dict[str, Assembly] = {}
    holds: dict[str, str] = {}
    for made in assemblies(connection):
        newest[made.tool_id] = made
        if made.holder_id:
            holds[made.holder_id] = made.tool_id
    return {
        tool_id: made
        for tool_id, made in newest.items()
        if not made.apart and (made.holder_id is None or holds[made.holder_id] == tool_id)
    }
