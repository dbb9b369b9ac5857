"""What is true right now, and the last events."""

from flask import jsonify, request
from shopmon.dashboards.api.blueprint import blueprint, monitor, number


@blueprint.get("/state")
def state():
    """The state of this moment."""
    return jsonify(monitor().state())


@blueprint.get("/log")
def log():
    """The newest log entries, newest first."""
    limit = number("limit", request.args.get("limit", 50), 1, 200, int)
    return jsonify(log=monitor().log(limit))
