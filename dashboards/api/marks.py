"""The two large buttons, and what was kept with them."""

from pathlib import Path

from flask import Response, jsonify, request
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor, number
from shopmon.dashboards.api.review import part_response
from shopmon.dashboards.api.sound import sound_response
from shopmon.dashboards.errors import Refusal

from shopmon.service.inspection import mixes_sensors

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


@blueprint.get("/marks")
def marks():
    """The moments that were marked, newest first, each with the cut in whose sound it lies."""
    return jsonify(marks=monitor().marks(number("limit", request.args.get("limit", 100), 1, 500, int)))


@blueprint.post("/marks/<mark_id>/open")
def open_mark(mark_id: str):
    """Take the sound around a mark that no cut covers from the rolling buffer; ``page`` shows it."""
    json_body(known=())
    found = monitor().open_mark(mark_id)
    if found is None:
        raise Refusal(404, "There is no mark with this id.", "Look at the marks under Cuts, Kept by hand.")
    page = f"/cuts/{found['cut_id']}" if "cut_id" in found else f"/cuts/kept/{found['kept_id']}"
    return jsonify(**found, page=page), 201


@blueprint.post("/keep-last")
def keep_last():
    """Keep the last stretch of sound, two minutes unless told otherwise."""
    seconds = number("seconds", json_body(known=("seconds",)).get("seconds", 120.0), 1.0, LONGEST_KEPT_S)
    return jsonify(kept=monitor().keep_last(seconds)), 201


@blueprint.get("/kept")
def kept():
    """The stretches of sound that were kept by hand."""
    return jsonify(kept=monitor().kept())


@blueprint.get("/kept/<keep_id>/audio")
def kept_audio(keep_id: str) -> Response:
    """The sound of a stretch that was kept, also in parts; ``?download=1`` saves it under a telling name."""
    if "only" in request.args:
        return part_response(keep_id, request.args["only"])
    path = monitor().kept_audio_path(keep_id)
    if path is None or not Path(path).is_file():
        raise Refusal(
            404, "This kept sound is not there.", "See Cuts, Kept by hand: it may still be being filed."
        )
    if "download" not in request.args and mixes_sensors(path):
        return part_response(keep_id, "first")
    return sound_response(Path(path), f"kept-{keep_id}")
