"""The two large buttons."""

from flask import jsonify
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor, number
from shopmon.dashboards.errors import Refusal

NOTE_LIMIT = 500
LONGEST_KEPT_S = 3600.0


@blueprint.post("/marks")
def mark():
    """Mark this moment, with a note if there is one."""
    note = json_body(known=("note",)).get("note", "")
    if not isinstance(note, str) or len(note) > NOTE_LIMIT:
        raise Refusal(
            400, "The note is not a text of reasonable length.", f"Use at most {NOTE_LIMIT} characters."
        )
    return jsonify(mark=monitor().mark_moment(note.strip())), 201


@blueprint.post("/keep-last")
def keep_last():
    """Keep the last stretch of sound, two minutes unless told otherwise."""
    seconds = number("seconds", json_body(known=("seconds",)).get("seconds", 120.0), 1.0, LONGEST_KEPT_S)
    return jsonify(kept=monitor().keep_last(seconds)), 201


@blueprint.get("/kept")
def kept():
    """The stretches of sound that were kept by hand."""
    return jsonify(kept=monitor().kept())
