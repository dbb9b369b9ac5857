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
