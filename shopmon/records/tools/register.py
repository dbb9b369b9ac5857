"""The register of tools: what a person enters and sets right. Nothing is ever deleted.

What is written is on disk when a method returns, so that the page that follows shows it.
"""

import threading
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Any

import sqlalchemy as sa

from shopmon.errors import SettingError
from shopmon.records.cuts.credit import credited_cuts
from shopmon.records.photos import Photos
from shopmon.records.stamps import Stamps
from shopmon.records.tables import corrections, cuts
from shopmon.records.tools.fields import FIELDS, checked, reference, same_label, type_of
from shopmon.records.tools.reading import Connect, RegisterReading
from shopmon.records.tools.rows import FOLLOWS_THE_TOOL, Tool
from shopmon.records.tools.tables import metadata

Rows = list[tuple[sa.Table, dict[str, Any]]]
LABELLED = ("mill_types", "holders", "materials", "parts", "operations")
MOST_CUTS_AT_ONCE = 5000


class Register(RegisterReading):
    """Keeps the tools of a shop.

    Parameters
    ----------
    stamps
        Gives out ids and sequence numbers.
    write
        Commits rows together and returns when they are on disk.
    connect
        Gives a connection that only reads.
    photos
        Keeps photographs as files.
    """

    def __init__(self, stamps: Stamps, write: Callable[[Rows], None], connect: Connect, photos: Photos):
        super().__init__(connect)
        self._stamps, self._write, self._photos = stamps, write, photos
        # what is checked against the rows that are there must not change before it is written
        self._lock = threading.RLock()

    # new entries

    def add(self, table: str, values: Mapping[str, Any]) -> str:
        """Enter a type, holder, material, part or operation, or a reading of a surface; return its id.

        Raises
        ------
        SettingError
            A value that cannot be, a label that is taken, or an id that is not there.
        """
        if table not in (*LABELLED, "wear_limits", "finish_readings", "blind_trials"):
            raise SettingError(f"'{table[:40]}' is no list of the register.", f"Use {', '.join(LABELLED)}.")
        with self._lock:
            row = self._new(table, checked(table, values))
            self._refuse_taken(table, [row.get("label")])
            self._check_references(row)
            return self._keep([(table, row)])

    def add_tool(self, values: Mapping[str, Any], *, edge: Mapping[str, Any] | None = None) -> str:
        """Enter a tool with the edge it came with; return its id."""
        return self.add_tools([(values, edge or {})])[0]

    def add_tools(
        self,
        entries: Sequence[tuple[Mapping, Mapping]],
        kinds: Sequence[dict] = (),
        retired: Mapping[int, str] = MappingProxyType({}),
    ) -> list[str]:
        """Enter many tools, all or none; return their ids.

        Parameters
        ----------
        entries
            Values of a tool and of its edge. A ``type_id`` may be the ``id`` of one of `kinds`.
        kinds
            Types to be entered with them: values and their ``id``.
        retired
            Why a tool is retired already, by its place in `entries`.
        """
        with self._lock:
            types = [
                self._new("mill_types", checked("mill_types", _without(kind, "id")), kind["id"])
                for kind in kinds
            ]
            made = [self._tool_rows(values, edge) for values, edge in entries]
            self._refuse_taken("mill_types", [row["label"] for row in types])
            in_use = [tool["label"] for number, (tool, _) in enumerate(made) if number not in retired]
            self._refuse_taken("tools", in_use)
            new_types = {row["id"] for row in types}
            for tool, _ in made:
                self._check_references(tool, known=new_types)
            rows = [("mill_types", row) for row in types]
            for number, (tool, edge) in enumerate(made):
                rows += [("tools", tool), ("tool_edges", edge)]
                if number in retired:
                    row = self._new(
                        "tool_retirements", checked("tool_retirements", {"reason": retired[number]})
                    )
                    rows.append(("tool_retirements", row | {"tool_id": tool["id"], "edge_id": edge["id"]}))
            if rows:
                self._keep(rows)
            return [tool["id"] for tool, _ in made]

    def regrind(
        self,
        tool_id: str,
        values: Mapping[str, Any],
        reason: str = "flank wear",
        before_cut_id: str | None = None,
    ) -> str:
        """Begin a new edge of a tool; the edge before is retired for `reason` where it is not yet.

        Parameters
        ----------
        values
            Measured ``DC``, ``LCF`` and ``coating`` of the new edge, and a note.
        before_cut_id
            The first cut of the new edge, where it is entered late; None for the cuts from now on.
        """
        with self._lock:
            tool = self._known(tool_id)
            edge_values = checked("tool_edges", _without(values, "from_sequence"))
            rows: list[tuple[str, dict]] = []
            if tool.retirement is None:
                rows.append(("tool_retirements", self._retirement(tool, reason, "")))
            edge = self._new("tool_edges", edge_values) | {"tool_id": tool_id}
            edge["from_sequence"] = edge["sequence"]
            if before_cut_id is not None:
                edge["from_sequence"] = self._check_cuts([before_cut_id])[0]
            if edge["from_sequence"] <= tool.edge.from_sequence:
                raise SettingError(
                    "The edge before began after that cut.", "Choose a later cut, or set that regrind right."
                )
            self._keep([*rows, ("tool_edges", edge)])
            return edge["id"]

    def retire(self, tool_id: str, reason: str, note: str = "") -> str:
        """Retire the present edge of a tool."""
        with self._lock:
            tool = self._known(tool_id)
            if tool.retirement is not None:
                raise SettingError(f"{tool.label} is retired already.", "Set the reason right instead.")
            return self._keep([("tool_retirements", self._retirement(tool, reason, note))])

    def take_back(self, tool_id: str, note: str = "") -> None:
        """Say that the present edge was not to be retired after all."""
        with self._lock:
            tool = self._known(tool_id)
            if tool.retirement is None:
                raise SettingError(f"{tool.label} is not retired.", "Look at its page again.")
            self._refuse_taken("tools", [tool.label], but=tool_id)
            self.correct("tool_retirements", tool.retirement.id, "withdrawn", True, note)

    def assemble(self, tool_id: str, values: Mapping[str, Any]) -> str:
        """Put a tool into a holder, or (with neither holder nor stickout) take it out of it."""
        with self._lock:
            self._known(tool_id)
            row = self._new("tool_assemblies", checked("tool_assemblies", values)) | {"tool_id": tool_id}
            self._check_references(row)
            return self._keep([("tool_assemblies", row)])

    def read_wear(self, tool_id: str, values: Mapping[str, Any]) -> str:
        """Enter flank wear as it was read from a microscope."""
        with self._lock:
            self._known(tool_id)
            row = self._new("wear_readings", checked("wear_readings", values)) | {"tool_id": tool_id}
            return self._keep([("wear_readings", row)])

    def add_photo(self, tool_id: str, content: bytes, note: str = "") -> str:
        """Keep a photograph of a tool.

        Raises
        ------
        SettingError
            It is no JPEG, PNG or WebP picture, or too large.
        """
        with self._lock:
            self._known(tool_id)
            row = self._new("tool_photos", checked("tool_photos", {"note": note})) | {"tool_id": tool_id}
            path, media_type = self._photos.keep(row["id"], content)
            return self._keep([("tool_photos", row | {"path": path, "media_type": media_type})])

    def photo_file(self, photo_id: str):
        """Return path and media type of a photograph; None where it is not there."""
        found = self.rows("tool_photos", id=photo_id)
        return self._photos.find(found[0]["path"], found[0]["media_type"]) if found else None

    # set right what is there

    def correct(self, table: str, row_id: str, field: str, value: Any, note: str = "") -> None:
        """Set one value right; what stood there before stays in the history.

        Raises
        ------
        SettingError
            There is no such row or field, or the value cannot be.
        """
        if table not in FIELDS or field not in FIELDS[table]:
            raise SettingError(f"'{field[:40]}' of {table[:40]} cannot be set right.", "Look at the page.")
        with self._lock:
            row = self.row(table, row_id)
            value = FIELDS[table][field](field, value)
            if value == row[field]:
                return
            if field == "label":
                self._refuse_taken(table, [value], but=row_id)
            if table == "mill_types":
                type_of({**row, field: value})
            self._check_references({field: value})
            self._write([(corrections, self._correction(table, row_id, field, value, note))])

    def credit(self, cut_ids: Sequence[str], tool_id: str | None, note: str = "") -> None:
        """Credit cuts to another tool (None: to nobody knows which); holder and stickout follow.

        Raises
        ------
        SettingError
            A cut or the tool is not known.
        """
        with self._lock:
            self._check_cuts(cut_ids)
            tool_id = reference("tool_id", tool_id)
            values = self._known(tool_id).context() if tool_id else {}
            rows: Rows = [
                (corrections, self._correction("cuts", cut_id, name, values.get(name), note))
                for cut_id in cut_ids
                for name in FOLLOWS_THE_TOOL
            ]
            self._write(rows)

    def set_right(self, cut_id: str, values: Mapping[str, Any], note: str = "") -> None:
        """Set values of a cut's context right, such as its material; totals per material follow.

        Raises
        ------
        SettingError
            There is no such cut.
        """
        with self._lock:
            self._check_cuts([cut_id])
            said = [self._correction("cuts", cut_id, name, value, note) for name, value in values.items()]
            self._write([(corrections, row) for row in said])

    def credit_name(self, said_label: str, tool_id: str) -> int:
        """Credit every cut that was said to be of `said_label`, and of no known tool; return how many."""
        cut = credited_cuts()
        query = sa.select(cut.c.cut_id).where(cut.c.tool_id.is_(None), cut.c.said_label == said_label)
        with self._connect() as connection:
            cut_ids = list(connection.execute(query).scalars())
        for first in range(0, len(cut_ids), MOST_CUTS_AT_ONCE):
            self.credit(cut_ids[first : first + MOST_CUTS_AT_ONCE], tool_id, f"was said to be {said_label}")
        return len(cut_ids)

    # how

    def _new(self, table: str, values: dict[str, Any], row_id: str | None = None) -> dict[str, Any]:
        return {**self._stamps.new(row_id), **values}

    def _tool_rows(self, values: Mapping, edge_values: Mapping) -> tuple[dict, dict]:
        tool = self._new("tools", checked("tools", values))
        edge = self._new("tool_edges", checked("tool_edges", edge_values))
        # its first edge has whatever is credited to the tool, also of before it was entered here
        return tool, edge | {"tool_id": tool["id"], "from_sequence": 0}

    def _retirement(self, tool: Tool, reason: str, note: str) -> dict[str, Any]:
        values = checked("tool_retirements", {"reason": reason, "note": note})
        return self._new("tool_retirements", values) | {"tool_id": tool.id, "edge_id": tool.edge.id}

    def _correction(self, table: str, row_id: str, field: str, value: Any, note: str) -> dict[str, Any]:
        note = FIELDS["tools"]["note"]("note", note)
        said = {"table_name": table, "row_id": row_id, "field": field, "value": value, "note": note}
        return {**self._stamps.new(), **said}

    def _keep(self, rows: list[tuple[str, dict]]) -> str:
        self._write([(metadata.tables[name], row) for name, row in rows])
        return rows[-1][1]["id"]

    def _known(self, tool_id: str) -> Tool:
        tool = self.tool(tool_id)
        if tool is None:
            raise SettingError("The register has no such tool.", "Look at the list under End mills.")
        return tool

    def _refuse_taken(self, table: str, labels: Sequence[str | None], but: str | None = None) -> None:
        """Refuse labels that stand twice or are in use; the tube of a retired tool may be used again."""
        if table not in (*LABELLED, "tools"):
            return
        passed_over = {but}
        if table == "tools":
            passed_over |= {tool.id for tool in self.tools(totals=False) if tool.retirement}
        taken = {same_label(row["label"]) for row in self.rows(table) if row["id"] not in passed_over}
        for label in labels:
            if same_label(label) in taken:
                raise SettingError(
                    f"The label '{label}' is there already.",
                    "Each label stands for one thing; choose another.",
                )
            taken.add(same_label(label))

    def _check_references(self, row: Mapping[str, Any], known: set[str] = frozenset()) -> None:
        for field, table in (
            ("type_id", "mill_types"),
            ("holder_id", "holders"),
            ("tool_id", "tools"),
        ):
            if row.get(field) is not None and row[field] not in known:
                self.row(table, row[field])
        for tool_id in row.get("tool_ids") or ():
            self.row("tools", tool_id)
        if row.get("cut_id") is not None:
            self._check_cuts([row["cut_id"]])

    def _check_cuts(self, cut_ids: Sequence[str]) -> list[int]:
        """Return the sequence numbers of cuts; raises SettingError where one is not there."""
        wanted = {reference("cut_id", cut_id) for cut_id in cut_ids}
        if not wanted or len(wanted) > MOST_CUTS_AT_ONCE:
            raise SettingError(f"{len(wanted)} cuts cannot be set right at once.", "Choose fewer.")
        with self._connect() as connection:
            query = sa.select(cuts.c.id, cuts.c.sequence).where(cuts.c.id.in_(wanted))
            known = dict(connection.execute(query).all())
        if len(known) < len(wanted):
            raise SettingError("There is no cut with this id.", "Look at the list under Cuts.")
        return list(known.values())


def _without(values: Mapping[str, Any], *names: str) -> dict[str, Any]:
    return {name: value for name, value in values.items() if name not in names}
