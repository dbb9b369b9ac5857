"""The present moment explained, line by line."""

from flask import jsonify
from shopmon.dashboards.api.blueprint import blueprint, monitor


@blueprint.get("/explain")
def explain():
    """Which lines are seen now, what each is taken for and why, and what the evidence adds up to."""
    return jsonify(monitor().explain())
