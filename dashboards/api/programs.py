"""NC programs: load one, follow it, name its tools, confirm whose cuts were."""

from flask import jsonify, request
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor
from shopmon.dashboards.errors import Refusal

from shopmon.service.programs.desk import LARGEST_UPLOAD


def desk():
    """Return the desk of programs of the monitor that is served."""
    return monitor().programs


@blueprint.get("/programs")
def programs():
    """Every program that was loaded, newest first, and what is followed now."""
    return jsonify(programs=desk().all(), now=desk().state())


@blueprint.post("/programs")
def upload():
    """Load a program: its text is the body, ``?name=`` the name of its file."""
    request.max_content_length = LARGEST_UPLOAD + 1
    name = request.args.get("name", "")
    return jsonify(desk().upload(name, request.get_data(cache=False))), 201


@blueprint.get("/programs/<program_id>")
def program(program_id: str):
    """One program."""
    return jsonify(desk().program(program_id))


@blueprint.post("/programs/<program_id>/tools")
def set_tools(program_id: str):
    """Say which tools of the register its T numbers are: ``{"tools": {"3": "id", "5": null}}``."""
    tools = json_body(known=("tools",)).get("tools")
    if not isinstance(tools, dict):
        raise Refusal(400, "No tools were given.", 'Send {"tools": {"3": "id of the tool"}}.')
    return jsonify(desk().set_tools(program_id, tools))


@blueprint.post("/programs/follow")
def follow():
    """Follow a program: ``{"id": "…"}``, null for none."""
    body = json_body(known=("id",))
    if "id" not in body:
        raise Refusal(400, "No program was given.", 'Send {"id": null} to follow none.')
    desk().choose(body["id"])
    return jsonify(now=desk().state())


@blueprint.get("/programs/doubts")
def doubts():
    """The cuts of which nobody is sure whose they were."""
    return jsonify(doubts=desk().doubts())


@blueprint.post("/programs/doubts/<cut_id>")
def confirm(cut_id: str):
    """Say whose a doubtful cut was: ``{"tool_id": "…"}``, null where nobody knows."""
    body = json_body(known=("tool_id",))
    if "tool_id" not in body:
        raise Refusal(400, "No tool was given.", 'Send {"tool_id": null} where nobody knows.')
    desk().confirm(cut_id, body["tool_id"])
    return jsonify(doubts=desk().doubts())
