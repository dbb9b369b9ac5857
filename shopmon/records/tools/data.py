"""Tools and totals as plain data: what the interface, exports and the command line give."""

from dataclasses import asdict
from typing import Any

from shopmon.records.cuts.credit import Totals
from shopmon.records.tools.reading import RegisterReading
from shopmon.records.tools.rows import Assembly, Retirement, Tool

SCHEMA = "shopmon.mills/1"


def register_as_data(register: RegisterReading) -> dict[str, Any]:
    """Return every type and tool with what it has cut, and what is credited to nobody."""
    tools, uncredited = register.shelf()
    return {
        "schema": SCHEMA,
        "types": [{"id": kind.id, **asdict(kind.type), "note": kind.note} for kind in register.kinds()],
        "tools": [tool_as_data(tool) for tool in tools],
        "uncredited": [{"said": said, **totals_as_data(totals)} for said, totals in uncredited],
    }


def totals_as_data(totals: Totals) -> dict[str, Any]:
    """Return totals with their share of chatter; distance and volume null where not known."""
    data = asdict(totals)
    for name in ("first_sequence", "last_sequence"):
        data.pop(name)
    known_of = {"distance_mm": "distance_known_s", "volume_mm3": "volume_known_s", "turns": "turns_known_s"}
    for figure, known in known_of.items():
        if not data[known]:
            data[figure] = None
    return {**data, "chatter_share": totals.chatter_share}


def tool_as_data(tool: Tool) -> dict[str, Any]:
    """Return a tool as ``GET /api/mills/ID`` gives it."""
    return {
        "id": tool.id,
        "label": tool.label,
        "kind": tool.kind,
        "entered_at": tool.t,
        "type_id": tool.type_id,
        "type": tool.type.label if tool.type else None,
        "flutes": tool.teeth,
        "diameter_mm": tool.diameter_mm,
        "note": tool.note,
        "edge": {
            "at": tool.edge.t,
            **{name: getattr(tool.edge, name) for name in ("id", "number", "DC", "LCF", "coating", "note")},
        },
        "edge_totals": totals_as_data(tool.edge_totals),
        "totals": totals_as_data(tool.totals),
        "retired": _retired(tool.retirement),
        "assembly": _assembly(tool.assembly),
    }


def _retired(retirement: Retirement | None) -> dict[str, Any] | None:
    return retirement and {"reason": retirement.reason, "at": retirement.t, "note": retirement.note}


def _assembly(made: Assembly | None) -> dict[str, Any] | None:
    return made and {
        "at": made.t,
        "holder_id": made.holder_id,
        "holder": made.holder.label if made.holder else None,
        "stickout_mm": made.stickout_mm,
        "runout_um": made.runout_um,
    }
