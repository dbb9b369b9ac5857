"""Marks on the wall of a cut: what to expect, a measured spacing, photographs and what they show."""

from contextlib import contextmanager

from flask import Response, jsonify, request, send_file
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor
from shopmon.dashboards.api.cuts import found
from shopmon.dashboards.errors import Refusal

from shopmon.errors import RecordingError
from shopmon.records.photos import LARGEST_BYTES

NO_PHOTO = ("This photograph is not there.", "Look at the page of the cut again.")


@blueprint.post("/cuts/<cut_id>/wall")
def expected_on_the_wall(cut_id: str):
    """What the cut should have left; the body holds what a person says of speed, flutes, feed and chatter."""
    return jsonify(monitor().walls.expect(found(monitor().cut(cut_id)), json_body(), _units()))


@blueprint.post("/cuts/<cut_id>/wall/spacing")
def spacing_on_the_wall(cut_id: str):
    """What a measured spacing may be: ``{"spacing_mm": 0.15}``."""
    return jsonify(monitor().walls.spacing(found(monitor().cut(cut_id)), json_body(), _units()))


@blueprint.get("/cuts/<cut_id>/photos")
def cut_photos(cut_id: str):
    """The photographs of a cut with what was read from them last, newest first."""
    found(monitor().cut(cut_id))
    told = ("id", "t", "media_type", "note", "reading")
    return jsonify(photos=[{name: row[name] for name in told} for row in monitor().walls.photos(cut_id)])


@blueprint.post("/cuts/<cut_id>/photos")
def add_cut_photo(cut_id: str):
    """Keep a photograph: the picture itself is the body; ``?note=`` says what it shows."""
    if request.mimetype not in ("image/jpeg", "image/png", "image/webp"):
        raise Refusal(415, "This is no picture.", "Send a JPEG, PNG or WebP picture as the body.")
    found(monitor().cut(cut_id))
    request.max_content_length = LARGEST_BYTES + 1
    content = request.get_data(cache=False)
    with _pictures_to_mend():
        return jsonify(id=monitor().walls.add_photo(cut_id, content, request.args.get("note", ""))), 201


@blueprint.get("/cuts/photos/<photo_id>")
def cut_photo(photo_id: str) -> Response:
    """A photograph."""
    row = _photo(photo_id)
    path = monitor().walls.photo_file(row)
    if path is None:
        raise Refusal(404, *NO_PHOTO)
    response = send_file(path, mimetype=row["media_type"], max_age=0)
    response.headers["Cache-Control"] = "private, max-age=31536000, immutable"
    return response


@blueprint.post("/cuts/photos/<photo_id>/marks")
def marks_in_photo(photo_id: str):
    """Measure the marks: ``{"um_per_pixel": 4.6}``, and what else is known; the answer stays with it."""
    row = _photo(photo_id)
    cut = found(monitor().cut(row["cut_id"]))
    with _pictures_to_mend():
        return jsonify(monitor().walls.measure(row, cut, json_body(), _units()))


@contextmanager
def _pictures_to_mend():
    """Nothing of ours is broken where a picture cannot be read: another one will do."""
    try:
        yield
    except RecordingError as exc:
        raise Refusal(400, exc.text, exc.hint) from exc


def _photo(photo_id: str) -> dict:
    row = monitor().walls.photo(photo_id)
    if row is None:
        raise Refusal(404, *NO_PHOTO)
    return row


def _units() -> str:
    return monitor().state()["units"]
