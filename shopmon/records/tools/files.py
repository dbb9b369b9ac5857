"""The register as CSV and JSON: read whole and checked before a single tool is entered."""

import csv
import io
import json
import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any

from shopmon.errors import SettingError
from shopmon.records.tools.data import SCHEMA
from shopmon.records.tools.fields import FIELDS, checked, same_label
from shopmon.records.tools.reading import RegisterReading
from shopmon.records.tools.register import Register

MOST_TOOLS = 10_000
MOST_BYTES = 4 * 2**20
TOOL_COLUMNS = ("label", "kind", "type", "flutes", "retired", "note")
EDGE_COLUMNS = {"measured_DC": "DC", "measured_LCF": "LCF", "coating_now": "coating"}
TYPE_COLUMNS = tuple(name for name in FIELDS["mill_types"] if name not in ("label", "note"))
COLUMNS = (*TOOL_COLUMNS, *EDGE_COLUMNS, *TYPE_COLUMNS)
ADDED_UP = (
    "regrinds",
    "cut_time_min",
    "chatter_min",
    "cuts",
    "entries",
)  # written, and passed over when read
WHOLE = ("flutes", "NOF")
NUMBERS = ("measured_DC", "measured_LCF", "DC", "DMM", "DN", "APMX", "LCF", "LU", "LF", "OAL", "RE", "FHA",
           "RPMX", *WHOLE)  # fmt: skip


@dataclass
class Entries:
    """What a file holds: types by label, and tools each with its type's label, edge and retirement."""

    types: dict[str, dict[str, Any]] = field(default_factory=dict)
    tools: list[dict[str, Any]] = field(default_factory=list)


def import_csv(register: Register, content: bytes) -> dict[str, int]:
    """Enter the tools of a CSV file, all or none; return how many tools and types.

    Raises
    ------
    SettingError
        With the line, what is wrong there, and what to do.
    """
    return _enter(register, read_csv(content))


def import_json(register: Register, content: bytes) -> dict[str, int]:
    """Enter the tools of a JSON file (``shopmon.mills/1``), all or none; unknown keys are left out."""
    return _enter(register, read_json(content))


def export_csv(register: RegisterReading) -> str:
    """Return the tools as CSV, with what each has cut."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, (*COLUMNS, *ADDED_UP), lineterminator="\r\n")
    writer.writeheader()
    for tool in register.tools():
        kind, edge, totals = tool.type, tool.edge, tool.totals
        row = {"label": tool.label, "kind": tool.kind, "flutes": tool.flutes, "note": tool.note}
        row |= {column: getattr(edge, name) for column, name in EDGE_COLUMNS.items()}
        if kind:
            row |= {name: getattr(kind, name) for name in TYPE_COLUMNS} | {"type": kind.label}
            row["pitch_deg"] = " ".join(f"{angle:g}" for angle in kind.pitch_deg or ())
        row["retired"] = tool.retirement.reason if tool.retirement else ""
        row |= {
            "regrinds": edge.number - 1,
            "cut_time_min": round(totals.cut_time_s / 60, 3),
            "chatter_min": round(totals.chatter_s / 60, 3),
            "cuts": totals.cuts,
            "entries": totals.entries,
        }
        writer.writerow({name: "" if value is None else value for name, value in row.items()})
    return out.getvalue()


def read_csv(content: bytes) -> Entries:
    """Read a CSV file; see `import_csv`."""
    lines = list(_rows(_decoded(content)))
    if not lines:
        raise SettingError("The file is empty.", f"Its first line names the columns: {', '.join(COLUMNS)}.")
    _, header = lines[0]
    columns = _columns([name.strip() for name in header])
    found = Entries()
    for number, cells in lines[1:]:
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) > len(columns):
            raise SettingError(
                f"Line {number} has {len(cells)} cells, and the first line {len(columns)}.",
                'A text that holds the separator stands in "quotes"; numbers take a decimal point.',
            )
        row = {name: cell.strip() for name, cell in zip(columns, cells, strict=False) if cell.strip()}
        _add(found, f"Line {number}", {name: _value(number, name, text) for name, text in row.items()})
    return _some(found)


def read_json(content: bytes) -> Entries:
    """Read a JSON file; see `import_json`."""
    try:
        data = json.loads(_decoded(content))
    except (ValueError, RecursionError) as exc:
        raise SettingError("The file is no JSON.", "Export one to see how it looks.") from exc
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        raise SettingError(f"The file is no {SCHEMA}.", "Export one to see how it looks.")
    found = Entries()
    for number, kind in enumerate(_list_of(data, "types"), 1):
        label = kind.get("label")
        if not isinstance(label, str):
            raise SettingError(f"Type {number} has no label.", "Give it one.")
        _add_type(found, f"Type {number}", label, {name: kind.get(name) for name in TYPE_COLUMNS})
    for number, tool in enumerate(_list_of(data, "tools"), 1):
        edge, retired = tool.get("edge") or {}, tool.get("retired") or {}
        if not isinstance(edge, dict) or not isinstance(retired, dict):
            raise SettingError(f"Tool {number} cannot be read.", "Its edge and retired are objects or null.")
        row = {name: tool.get(name) for name in ("label", "kind", "type", "flutes", "note")}
        row |= {column: edge.get(name) for column, name in EDGE_COLUMNS.items()}
        row["retired"] = retired.get("reason")
        if row["type"] is not None:
            row["flutes"] = None  # told by the type
        _add(found, f"Tool {number}", {name: value for name, value in row.items() if value is not None})
    return _some(found)


def _some(found: Entries) -> Entries:
    if not found.tools and not found.types:
        raise SettingError("The file holds no tool.", "Each tool stands in a line of its own.")
    return found


def _list_of(data: dict, name: str) -> list[dict]:
    rows = data.get(name) or []
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise SettingError(f"'{name}' is no list of objects.", "Export one to see how it looks.")
    return rows


def _decoded(content: bytes) -> str:
    if b"\0" in content:
        raise SettingError("The file is not text.", "Save the table as CSV (UTF-8).")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        raise SettingError("The file is not UTF-8.", "Save the table as CSV (UTF-8).") from exc


def _rows(text: str) -> Iterable[tuple[int, list[str]]]:
    first = text.partition("\n")[0]
    separator = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        for cells in reader:
            yield reader.line_num, cells
    except csv.Error as exc:
        raise SettingError(
            f"Line {reader.line_num} cannot be read as CSV ({exc}).", "Look at the quotes in it."
        ) from exc


def _columns(names: list[str]) -> list[str]:
    known = {name.casefold(): name for name in (*COLUMNS, *ADDED_UP)}
    for name in names:
        if name.casefold() not in known:
            near = get_close_matches(name.casefold(), known, 1)
            hint = f"Did you mean '{known[near[0]]}'? " if near else ""
            raise SettingError(f"'{name[:40]}' is no column.", f"{hint}Columns: {', '.join(COLUMNS)}.")
    found = [known[name.casefold()] for name in names]
    twice = {name for name in found if found.count(name) > 1}
    if twice:
        raise SettingError(f"The column '{min(twice)}' is there twice.", "Take one of them out.")
    for needed in ("label", "kind"):
        if needed not in found:
            raise SettingError(f"The column '{needed}' is missing.", f"Columns: {', '.join(COLUMNS)}.")
    return found


def _value(line: int, name: str, text: str) -> Any:
    if name == "pitch_deg":
        return [_number(line, name, part) for part in text.replace("/", " ").split()]
    return _number(line, name, text) if name in NUMBERS else text


def _number(line: int, name: str, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        comma = text.count(",") == 1 and "." not in text
        hint = f"Write {text.replace(',', '.')}." if comma else "Write a number, without a unit."
        what = "has a decimal comma" if comma else "is no number"
        raise SettingError(f"Line {line}: {name} '{text[:40]}' {what}.", hint) from None


def _add(found: Entries, where: str, row: dict[str, Any]) -> None:
    tool = {name: row[name] for name in ("label", "kind", "flutes", "note") if name in row}
    try:
        kept = checked("tools", tool)
        edge = checked("tool_edges", {name: row[col] for col, name in EDGE_COLUMNS.items() if col in row})
        if "retired" in row:
            checked("tool_retirements", {"reason": row["retired"]})
    except SettingError as exc:
        raise SettingError(f"{where}: {exc.text}", exc.hint) from None
    named = row.get("type")
    sizes = {name: row[name] for name in TYPE_COLUMNS if name in row}
    if sizes and named is None:
        raise SettingError(f"{where} has {min(sizes)} but names no type.", "Give the type a name in 'type'.")
    if named is not None:
        if not isinstance(named, str):
            raise SettingError(f"{where}: the type is no text.", "Give the label of a type.")
        _add_type(found, where, named, sizes, whole=False)
    _refuse_twice(found, where, kept, row.get("retired"))
    found.tools.append(
        {"values": kept, "edge": edge, "type": named, "retired": row.get("retired"), "at": where}
    )
    if len(found.tools) > MOST_TOOLS:
        raise SettingError(f"The file holds more than {MOST_TOOLS:,} tools.", "Split it.")


def _refuse_twice(found: Entries, where: str, kept: dict, retired: str | None) -> None:
    if retired:
        return  # the tube of a retired tool may be used again
    for other in found.tools:
        if not other["retired"] and same_label(other["values"]["label"]) == same_label(kept["label"]):
            raise SettingError(
                f"{where}: the label '{kept['label']}' is there already, at {other['at'].lower()}.",
                "Each label stands for one tool; change one of them.",
            )


def _add_type(found: Entries, where: str, label: str, sizes: dict, *, whole: bool = True) -> None:
    sizes = {name: value for name, value in sizes.items() if value is not None}
    try:
        kept = checked("mill_types", {"label": label, **sizes})
    except SettingError as exc:
        raise SettingError(f"{where}: {exc.text}", exc.hint) from None
    before = found.types.setdefault(same_label(label), {"label": kept["label"]})
    for name, value in kept.items():
        if name != "label" and value is not None and before.setdefault(name, value) != value:
            raise SettingError(
                f"{where}: the type '{label}' has {name} {before[name]} further up and {value} here.",
                "One type has one size; give the other a name of its own.",
            )


def _enter(register: Register, found: Entries) -> dict[str, int]:
    there = {same_label(kind.label): kind for kind in register.kinds()}
    ids: dict[str, str] = {}
    fresh = []
    for key, values in found.types.items():
        if key in there:
            _refuse_other_sizes(there[key], values)
            ids[key] = there[key].id
        else:
            ids[key] = str(uuid.uuid4())
            fresh.append({**values, "id": ids[key]})
    entries = [
        ({**tool["values"], "type_id": tool["type"] and ids[same_label(tool["type"])]}, tool["edge"])
        for tool in found.tools
    ]
    retired = {number: tool["retired"] for number, tool in enumerate(found.tools) if tool["retired"]}
    register.add_tools(entries, fresh, retired)
    return {"tools": len(entries), "types": len(fresh)}


def _refuse_other_sizes(kind, values: dict[str, Any]) -> None:
    for name, value in values.items():
        stands = getattr(kind.type, name)
        stands = list(stands) if isinstance(stands, tuple) else stands
        if name != "label" and value is not None and stands != value:
            raise SettingError(
                f"The type '{kind.label}' is there already, with {name} {stands} and not {value}.",
                "Set it right under Kinds first, or give the other a name of its own.",
            )
