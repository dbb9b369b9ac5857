"""The page *Sensors*: what full scale means, how the sensor is mounted, and what it may be asked."""

from flask import Blueprint, current_app, render_template

from shopmon.service.sensors_desk import CAUTIONS
from shopmon.signals.sensor_fitness import MOUNTINGS, PARTS

VERDICTS = {"yes": "Yes", "partly": "In part", "no": "No"}
PLACE_WORDS = {f"{axis} {way}": f"{axis} points {way}" for axis in ("x", "y", "z") for way in ("up", "down")}
LISTED = 20

blueprint = Blueprint("sensors", __name__, url_prefix="/sensors")


@blueprint.get("")
def page() -> str:
    """The page *Sensors*."""
    monitor = current_app.extensions["monitor"]
    now = monitor.sensors.now()
    return render_template(
        "sensors/sensors.html",
        now=now,
        others=monitor.state().get("others", []),
        cautions=CAUTIONS,
        parts=[part.label for part in PARTS if part.kind == now["kind"]],
        mountings=list(MOUNTINGS),
        verdicts=VERDICTS,
        places=PLACE_WORDS,
        history=now["history"][:LISTED],
        meaning=meaning,
    )


def meaning(entry: dict) -> str:
    """Write what full scale of a channel means, with what is known of how sure that is.

    Examples
    --------
    >>> meaning({"channel": 1, "unit": "g", "per_full_scale": 15.98, "offset": 0.012, "residual": 0.004})
    'channel 1: full scale is 15.98 g; reads +0.012 g at rest; 0.004 g left over'
    """
    text = f"channel {entry['channel']}: full scale is {entry['per_full_scale']:.4g} {entry['unit']}"
    if entry.get("offset") is not None:
        text += f"; reads {entry['offset'] + 0.0:+.3f} {entry['unit']} at rest".replace("-", "−")
    if entry.get("residual") is not None:
        text += f"; {entry['residual']:.3f} {entry['unit']} left over"
    return text
