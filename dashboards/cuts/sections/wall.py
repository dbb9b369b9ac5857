"""What the section *Mark on the wall* shows of a cut."""

from typing import Any

from shopmon.dashboards.look.measures import MM_PER_INCH

from shopmon.errors import SettingError
from shopmon.service.walls.desk import known_of, tones_of


def facts(monitor: Any, cut: dict[str, Any]) -> dict[str, Any]:
    """Return what is known of the cut, the marks it should have left, and its photographs."""
    units = monitor.state()["units"]
    inch = units == "inch"
    known = known_of(cut)
    factor = MM_PER_INCH if inch else 1.0
    feed = known["feed_mm_min"]
    return {
        "known": known,
        "feed": None if feed is None else f"{feed / factor:.4g}",
        "tones": [f"{each:.0f}" for each in tones_of(cut)],
        "expected": _expected(monitor, cut, units),
        "missing": [
            name
            for name, value in (
                ("the spindle speed", known["rpm"]),
                ("the number of flutes", known["flutes"]),
                ("the table feed", feed),
            )
            if value is None
        ],
        "photos": monitor.walls.photos(cut["id"]),
        "factor": factor,
        "length_unit": "in" if inch else "mm",
    }


def _expected(monitor: Any, cut: dict[str, Any], units: str) -> list[dict]:
    """List what to expect; nothing where the log holds what no wall could be cut with."""
    try:
        return monitor.walls.expect(cut, {}, units)["expected"]
    except SettingError:
        return []
