"""The background as a list: what is no chatter, and why; a person adds to it and takes from it."""

from flask import Response, jsonify
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor, truth


@blueprint.get("/background")
def background():
    """Every tone that is taken for background, each with its origin."""
    return jsonify(entries=monitor().background())


@blueprint.post("/background")
def reject():
    """Reject a tone: ``{"frequency_hz": 1432.6}``, or ``{"order": 0.62}`` where it follows the spindle.

    With ``"family": true`` every tone in steps of the rotation from it is meant, too; with ``only_with``, the
    words for what is in the spindle, it holds with that tool only.
    """
    body = json_body(known=("frequency_hz", "order", "family", "only_with"))
    if "family" in body:
        body["family"] = truth("family", body["family"])
    return jsonify(entry=monitor().wishes.reject(**body)), 201


@blueprint.delete("/background/<entry_id>")
def remove(entry_id: str) -> Response:
    """Take a tone off the list, so that it counts again."""
    monitor().wishes.remove(entry_id)
    return jsonify(removed=entry_id)


@blueprint.post("/background/<entry_id>/believe")
def believe(entry_id: str) -> Response:
    """Take a tone back into the background that had been taken off."""
    monitor().wishes.believe(entry_id)
    return jsonify(believed=entry_id)
