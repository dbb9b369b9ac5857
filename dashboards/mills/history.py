"""The history of a tool: everything that was entered, newest first, each in a sentence."""

from dataclasses import dataclass

from shopmon.dashboards.look.measures import size
from shopmon.dashboards.mills.said import duration, indicator, wear

from shopmon.records.tools.register import Register
from shopmon.records.tools.rows import Tool, ToolRecord

NAMES = {
    "type_id": "type",
    "DC": "diameter DC",
    "LCF": "flute length LCF",
    "from_sequence": "beginning of the edge",
}


@dataclass(frozen=True)
class Entry:
    """One line: when (None where the clock was not set), what, and a note."""

    sequence: int
    t: float | None
    text: str
    note: str = ""


def history(register: Register, record: ToolRecord, units: str) -> list[Entry]:
    """Return what happened to a tool, newest first."""
    tool = record.tool
    found = [Entry(tool.sequence, tool.t, "Entered in the register.", tool.note)]
    row_ids, spent = [tool.id], {}
    for edge, totals, retirement in record.edges:
        row_ids.append(edge.id)
        if edge.number > 1:
            sizes = ", ".join(f"{name} {size(value, units)}" for name, value in
                              (("DC", edge.DC), ("LCF", edge.LCF)) if value)  # fmt: skip
            said = f"Reground: regrind {edge.number - 1}{', ' + sizes if sizes else ''}."
            found.append(Entry(edge.from_sequence, edge.t, said, edge.note))
        if retirement:
            spent[retirement.id] = f" after {duration(totals.cut_time_s)} in the cut"
    for row in register.rows("tool_retirements", tool_id=tool.id):
        row_ids.append(row["id"])
        text = f"Retired{spent.get(row['id'], '')}: {row['reason']}."
        found.append(Entry(row["sequence"], row["t"], text, row["note"]))
    found += _holders(register, tool, units)
    found += [
        Entry(
            each.sequence,
            each.t,
            f"Flank wear VB {wear(each.VB_mm, units)} after {duration(each.cut_time_s)}"
            f" in the cut{', ' + each.operation if each.operation else ''}.",
            each.note,
        )
        for each in record.readings
    ]
    found += [Entry(each.sequence, each.t, "Photographed.", each.note) for each in register.photos(tool.id)]
    found += _set_right(register, row_ids)
    return sorted(found, key=lambda entry: -entry.sequence)


def _holders(register: Register, tool: Tool, units: str) -> list[Entry]:
    found = []
    for made in register.assemblies(tool.id):
        if made.apart:
            text = "Taken out of the holder."
        else:
            held = f"Put into {made.holder.label}" if made.holder else "Put into a holder"
            out = f", {size(made.stickout_mm, units)} out" if made.stickout_mm else ""
            read = (
                f", indicator reads {indicator(made.runout_um, units)}" if made.runout_um is not None else ""
            )
            text = f"{held}{out}{read}."
        found.append(Entry(made.sequence, made.t, text, made.note))
    return found


def _set_right(register: Register, row_ids: list[str]) -> list[Entry]:
    found = []
    for said in register.corrections_of(*row_ids):
        if said["field"] == "withdrawn":
            text = "Not retired after all."
        elif said["field"] in ("type_id", "from_sequence"):
            text = f"The {NAMES[said['field']]} was set right."
        else:
            value = said["value"] if said["value"] not in (None, "") else "nothing"
            text = f"The {NAMES.get(said['field'], said['field'])} was set right to {value}."
        found.append(Entry(said["sequence"], said["t"], text, said["note"]))
    return found
