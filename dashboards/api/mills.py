"""The register of tools: what it knows, what a person enters, and whose a cut was."""

from collections.abc import Callable
from typing import Any

from flask import Response, jsonify, request, send_file
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor
from shopmon.dashboards.errors import Refusal

from shopmon.records.photos import LARGEST_BYTES
from shopmon.records.tools.data import register_as_data, tool_as_data
from shopmon.records.tools.files import MOST_BYTES, export_csv, import_csv, import_json
from shopmon.records.tools.rows import Tool
from shopmon.service.context import checked_context
from shopmon.service.mills.sheet import tool_sheet

SET_RIGHT = ("material", "part", "operation", "feed_mm_min", "ap_mm", "ae_mm")
NO_TOOL = ("There is no tool with this id.", "Look at the list under End mills.")


def register():
    """Return the register of the monitor that is served."""
    return monitor().register


@blueprint.get("/mills")
def mills():
    """Every type and tool with what it has cut, and what is credited to nobody."""
    return jsonify(register_as_data(register()))


@blueprint.get("/mills/export.csv")
def mills_as_csv() -> Response:
    """The tools as a table."""
    response = Response(export_csv(register()), mimetype="text/csv")
    response.headers["Content-Disposition"] = "attachment; filename=end-mills.csv"
    return response


@blueprint.get("/mills/export.json")
def mills_as_json() -> Response:
    """The same as ``/api/mills``, to be saved."""
    response = jsonify(register_as_data(register()))
    response.headers["Content-Disposition"] = "attachment; filename=end-mills.json"
    return response


@blueprint.post("/mills/import")
def import_mills():
    """Enter the tools of a file, all or none: the body is CSV (``text/csv``) or ``shopmon.mills/1``."""
    request.max_content_length = MOST_BYTES
    takes = {"text/csv": import_csv, "application/json": import_json}.get(request.mimetype)
    if takes is None:
        raise Refusal(415, "This is neither CSV nor JSON.", "Send it with the right Content-Type.")
    return jsonify(takes(register(), request.get_data(cache=False)))


@blueprint.post("/mills")
def add_mill():
    """Enter a tool: its label and kind, the id of its type or its flutes; ``edge`` holds measured sizes."""
    body = json_body()
    edge = body.pop("edge", None) or {}
    if not isinstance(edge, dict):
        raise Refusal(400, "The edge is no object.", 'Send {"edge": {"DC": 5.98}}.')
    return _told(register().add_tool(body, edge=edge)), 201


@blueprint.get("/mills/<tool_id>")
def mill(tool_id: str):
    """One tool with its life, wear and sound."""
    record = register().record(tool_id)
    if record is None:
        raise Refusal(404, *NO_TOOL)
    return jsonify(tool_sheet(register(), record, monitor().outlooks.now().get(tool_id)))


@blueprint.post("/mills/<tool_id>/spindle")
def into_spindle(tool_id: str):
    """Say that this one is in the spindle now."""
    json_body(known=())
    _found(tool_id)
    return jsonify(context=monitor().set_context({"end_mill_id": tool_id}, "touched"))


@blueprint.post("/mills/<tool_id>/retire")
def retire(tool_id: str):
    """Retire it: ``{"reason": "chipped", "note": "…"}``."""
    body = json_body(known=("reason", "note"))
    return _done(tool_id, lambda: register().retire(tool_id, body.get("reason"), body.get("note", "")))


@blueprint.post("/mills/<tool_id>/take-back")
def take_back(tool_id: str):
    """Say that it was not to be retired after all."""
    note = json_body(known=("note",)).get("note", "")
    return _done(tool_id, lambda: register().take_back(tool_id, note))


@blueprint.post("/mills/<tool_id>/regrind")
def regrind(tool_id: str):
    """Begin a new edge with its measured ``DC``, ``LCF`` and ``coating``; ``reason`` retires the old one.

    Entered late, ``before_cut_id`` names the first cut of the new edge.
    """
    body = json_body(known=("DC", "LCF", "coating", "reason", "before_cut_id", "note"))
    reason, before = body.pop("reason", "flank wear"), body.pop("before_cut_id", None)
    return _done(tool_id, lambda: register().regrind(tool_id, body, reason, before))


@blueprint.post("/mills/<tool_id>/assembly")
def assemble(tool_id: str):
    """Put it into a holder: ``holder_id``, ``stickout_mm``, ``runout_um``; an empty object takes it out."""
    body = json_body(known=("holder_id", "stickout_mm", "runout_um", "note"))
    answer = _done(tool_id, lambda: register().assemble(tool_id, body))
    if monitor().context().get("end_mill_id") == tool_id:  # holder and stickout of the cuts to come
        monitor().set_context({"end_mill_id": tool_id}, "touched")
    return answer


@blueprint.post("/mills/<tool_id>/wear")
def read_wear(tool_id: str):
    """Enter flank wear: ``{"VB_mm": 0.08, "operation": "finishing"}``."""
    body = json_body(known=("VB_mm", "spread", "operation", "note"))
    return _done(tool_id, lambda: register().read_wear(tool_id, body))


@blueprint.post("/mills/<tool_id>/photos")
def add_photo(tool_id: str):
    """Keep a photograph: the picture itself is the body; ``?note=`` says what it shows."""
    if request.mimetype not in ("image/jpeg", "image/png", "image/webp"):
        raise Refusal(415, "This is no picture.", "Send a JPEG, PNG or WebP picture as the body.")
    request.max_content_length = LARGEST_BYTES + 1
    content = request.get_data(cache=False)
    return _done(tool_id, lambda: register().add_photo(tool_id, content, request.args.get("note", "")))


@blueprint.get("/mills/photos/<photo_id>")
def photo(photo_id: str) -> Response:
    """A photograph."""
    found = register().photo_file(photo_id)
    if found is None:
        raise Refusal(404, "This photograph is not there.", "Look at the tool's page again.")
    response = send_file(found[0], mimetype=found[1], max_age=0)
    response.headers["Cache-Control"] = "private, max-age=31536000, immutable"
    return response


@blueprint.post("/register/<table>")
def add_entry(table: str):
    """Enter a type (``mill_types``), holder, material, part, operation, wear limit or surface reading."""
    return _told(register().add(table, json_body())), 201


@blueprint.post("/register/<table>/<row_id>/correct")
def correct(table: str, row_id: str):
    """Set one value right: ``{"field": "label", "value": "plum #4", "note": "misread"}``; the old is kept."""
    body = json_body(known=("field", "value", "note"))
    if "field" not in body or "value" not in body:
        raise Refusal(400, "What is to be set right was not given.", "Send field and value.")
    field = body["field"] if isinstance(body["field"], str) else ""
    register().correct(table, row_id, field, body["value"], body.get("note", ""))
    return _told(row_id)


@blueprint.post("/cuts/<cut_id>/credit")
def credit(cut_id: str):
    """Credit a cut to another tool: ``{"tool_id": "…"}``, null where nobody knows; all totals follow."""
    body = json_body(known=("tool_id", "note"))
    if "tool_id" not in body:
        raise Refusal(400, "No tool was given.", 'Send {"tool_id": null} where nobody knows.')
    register().credit([cut_id], body["tool_id"], body.get("note", ""))
    return _told(cut_id)


@blueprint.post("/cuts/<cut_id>/set-right")
def set_right(cut_id: str):
    """Set right what was cut: any of material, part, operation, feed and depths; null where unknown."""
    body = json_body(known=SET_RIGHT)
    register().set_right(cut_id, checked_context(body))
    return _told(cut_id)


@blueprint.post("/mills/<tool_id>/credit-name")
def credit_name(tool_id: str):
    """Credit every cut that was ``said`` to be of a name no tool has: ``{"said": "T3"}``."""
    said = json_body(known=("said",)).get("said")
    if not isinstance(said, str):
        raise Refusal(400, "No name was given.", 'Send {"said": "T3"}.')
    _found(tool_id)
    return jsonify(cuts=register().credit_name(said, tool_id))


def _done(tool_id: str, action: Callable[[], Any]) -> Response:
    _found(tool_id)
    action()
    return jsonify(tool_as_data(_found(tool_id)))


def _found(tool_id: str) -> Tool:
    tool = register().tool(tool_id)
    if tool is None:
        raise Refusal(404, *NO_TOOL)
    return tool


def _told(row_id: str) -> Response:
    return jsonify(id=row_id)
