"""The page *Sensors*: what full scale means, how the sensor is mounted, and what it may be asked."""

from flask import Blueprint, current_app, render_template, request

from shopmon.service.sensors.desk import CAUTIONS
from shopmon.service.sensors.words import PLACE_WORDS, VERDICTS, meaning
from shopmon.signals.sensors.fitness import MOUNTINGS, PARTS

LISTED = 20

blueprint = Blueprint("sensors", __name__, url_prefix="/sensors")


@blueprint.get("")
def page() -> str:
    """The page *Sensors*."""
    monitor = current_app.extensions["monitor"]
    desk = monitor.all_sensors.of(request.args.get("source"))
    now = desk.now()
    return render_template(
        "sensors/sensors.html",
        now=now,
        others=monitor.state().get("others", []) if desk is monitor.all_sensors.first else [],
        first=desk is monitor.all_sensors.first,
        cautions=CAUTIONS,
        parts=[part.label for part in PARTS if part.kind == now["kind"]],
        mountings=list(MOUNTINGS),
        verdicts=VERDICTS,
        places=PLACE_WORDS,
        history=now["history"][:LISTED],
        meaning=meaning,
    )
