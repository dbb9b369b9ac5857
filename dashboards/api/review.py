"""A cut or a kept stretch looked at afterwards: its lanes and its picture, any part of them."""

from flask import Response, jsonify, request
from shopmon.dashboards.api.blueprint import blueprint, monitor, number
from shopmon.dashboards.errors import Refusal

from shopmon.errors import RecordingError
from shopmon.service.review.picture import View

LATEST_S = 1e6
MOST_POINTS, MOST_COLUMNS, MOST_ROWS = 4000, 2048, 1024
AXES = {"hertz": 500_000.0, "orders": 10_000.0}
KEPT_FOR_S = 300
LONGEST_PART = 384 * 1024  # four seconds: what is heard next is worked out when it is asked for


@blueprint.get("/cuts/<stretch_id>/lanes")
@blueprint.get("/kept/<stretch_id>/lanes", endpoint="kept_lanes")
def lanes(stretch_id: str) -> Response:
    """Speed, energies, level and bands of a part."""
    points = number("points", request.args.get("points", 1200), 2, MOST_POINTS, int)
    return jsonify(known(monitor().review.lanes(stretch_id, seconds("from"), seconds("to"), points)))


@blueprint.get("/cuts/<stretch_id>/spectrogram")
@blueprint.get("/kept/<stretch_id>/spectrogram", endpoint="kept_spectrogram")
def spectrogram(stretch_id: str) -> Response:
    """The picture of a part: bytes, column after column, each from its lowest row up."""
    axis = request.args.get("axis", "hertz")
    if axis not in AXES:
        raise Refusal(400, f"The axis cannot be {axis[:40]!r}.", f"Use one of: {', '.join(AXES)}.")
    view = View(
        from_s=seconds("from", 0.0),
        to_s=seconds("to", 60.0),
        columns=number("columns", request.args.get("columns", 600), 1, MOST_COLUMNS, int),
        rows=number("rows", request.args.get("rows", 256), 8, MOST_ROWS, int),
        low=number("low", request.args.get("low", 0), 0, AXES[axis]),
        high=number("high", request.args.get("high", 5000 if axis == "hertz" else 24), 0, AXES[axis]),
        axis=axis,
    )
    try:
        picture = known(monitor().review.picture(stretch_id, view))
    except RecordingError as exc:
        raise Refusal(404, exc.text, exc.hint) from exc
    response = Response(picture.codes.tobytes(), mimetype="application/octet-stream")
    response.headers["Shopmon-Rough"] = "1" if picture.rough else "0"
    lasting = f"private, max-age={KEPT_FOR_S}"
    response.headers["Cache-Control"] = "no-store" if picture.rough or axis == "orders" else lasting
    return response


@blueprint.get("/cuts/<stretch_id>/spectrum")
@blueprint.get("/kept/<stretch_id>/spectrum", endpoint="kept_spectrum")
def spectrum(stretch_id: str) -> Response:
    """One moment with its lines; while ``explanation.status`` is ``thinking``, ask again."""
    if "at" not in request.args:
        raise Refusal(400, "The moment is missing.", "Say which with ?at=SECONDS.")
    try:
        return jsonify(known(monitor().review.moment(stretch_id, seconds("at"))))
    except RecordingError as exc:
        raise Refusal(404, exc.text, exc.hint) from exc


def part_response(stretch_id: str, part: str) -> Response:
    """Return a part of the sound, or of that a range; long ranges come in several answers."""
    try:
        sound = known(monitor().review.part_of_sound(stretch_id, part))
    except RecordingError as exc:
        raise Refusal(404, exc.text, exc.hint) from exc
    asked = request.range
    headers = {"Accept-Ranges": "bytes", "Cache-Control": "private, no-cache"}
    if asked is None or asked.units != "bytes" or len(asked.ranges) != 1:
        pieces = range(0, sound.size, LONGEST_PART)
        body = (sound.read(first, first + LONGEST_PART) for first in pieces)
        return Response(body, mimetype="audio/wav", headers={**headers, "Content-Length": str(sound.size)})
    ends = asked.range_for_length(sound.size)
    if ends is None:
        raise Refusal(416, headers={"Content-Range": f"bytes */{sound.size}"})
    first, end = ends[0], min(ends[1], ends[0] + LONGEST_PART)
    headers["Content-Range"] = f"bytes {first}-{end - 1}/{sound.size}"
    return Response(sound.read(first, end), 206, mimetype="audio/wav", headers=headers)


def seconds(name: str, otherwise: float | None = None) -> float | None:
    """Return a time of the query, counted from the first sample of the recording."""
    if name not in request.args:
        return otherwise
    return number(name, request.args[name], -LATEST_S, LATEST_S)


def known(answer):
    """Return an answer, or refuse because there is nothing with this id."""
    if answer is None:
        raise Refusal(404, "There is no cut with this id.", "Look at the list under Cuts.")
    return answer
