"""What is cut, with what and how: read, and told by a person or a controller's macro."""

from flask import g, jsonify, request
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor, number


@blueprint.get("/context")
def context():
    """What is known now."""
    return jsonify(context=monitor().context())


@blueprint.post("/context")
def set_context():
    """Take over values; names and ranges are checked by the monitor, which says what is wrong."""
    origin = "macro" if g.visitor.role == "controller" else "touched"
    return jsonify(context=monitor().set_context(json_body(), origin))


@blueprint.get("/recent-setups")
def recent_setups():
    """The pairs of speed and flutes used last, newest first."""
    wanted = number("limit", request.args.get("limit", 6), 1, 50, int)
    return jsonify(setups=list(monitor().recent_setups())[:wanted])
