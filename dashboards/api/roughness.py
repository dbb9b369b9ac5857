"""The finish of a measured profile that a person sends."""

from typing import Any

from flask import jsonify, request
from shopmon.dashboards.api.blueprint import blueprint, monitor, number
from shopmon.dashboards.errors import Refusal

from shopmon.errors import RecordingError
from shopmon.records.tools.fields import STANDARDS
from shopmon.service.mills.finish import Pass, in_words, upload_finish

LARGEST_BYTES = 50 * 2**20
WORDS = {"spacing_mm": "The spacing (mm)", "feed_mm_min": "The feed (mm/min)", "rpm": "The speed (rpm)"}


@blueprint.post("/roughness")
def roughness():
    """Measure the profile in the body; ``?name=wall.csv`` tells its kind, the rest how (see the page)."""
    if request.mimetype != "application/octet-stream":
        raise Refusal(415, "This is no file.", "Send it with Content-Type: application/octet-stream.")
    request.max_content_length = LARGEST_BYTES
    asked = request.args
    standard = asked.get("standard", STANDARDS[0])
    if standard not in STANDARDS:
        raise Refusal(400, "There is no such standard here.", f"Use one of: {', '.join(STANDARDS)}.")
    how: dict[str, Any] = {
        "standard": standard,
        "unit": asked.get("unit", "µm"),
        "spacing_mm": _number("spacing_mm", 1e-9, 100),
        "column": asked.get("column") or None,
        "bent": asked.get("bent") == "yes",
        "made_by": _made_by(),
    }
    try:
        report = upload_finish(asked.get("name", ""), request.get_data(cache=False), **how)
    except RecordingError as exc:  # nothing of ours is broken: another file will do
        raise Refusal(400, exc.text, exc.hint) from None
    return jsonify({**report, "sentences": in_words(report)})


def _made_by() -> Pass | None:
    """Return the pass of the tool that is named; None where no comparison is asked for."""
    asked = request.args
    if not asked.get("surface"):
        return None
    tool = monitor().register.tool(asked.get("tool_id", ""))
    if tool is None or not tool.teeth:
        raise Refusal(400, "Which end mill made it, and its flutes, must be known.", "Choose the end mill.")
    feed, rpm = _number("feed_mm_min", 0.001, 200_000), _number("rpm", 1, 200_000)
    if feed is None or rpm is None:
        raise Refusal(400, "The feed marks follow from feed and speed.", "Say both, or compare with nothing.")
    return Pass(
        surface=asked["surface"],
        feed_mm_min=feed,
        rpm=rpm,
        flutes=tool.teeth,
        diameter_mm=tool.diameter_mm,
        milling=asked.get("milling") or "climb",
        corner_radius_mm=tool.type.RE if tool.type else None,
    )


def _number(name: str, low: float, high: float) -> float | None:
    text = request.args.get(name)
    return number(WORDS[name], text, low, high, float) if text else None
