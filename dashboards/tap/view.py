"""The page *Tap test*: cautions first, then hit by hit, then the modes and what is kept of them."""

from flask import Blueprint, current_app, render_template
from shopmon.dashboards.speeds.figures import summary
from shopmon.dashboards.tap import figures
from shopmon.dashboards.tap.drawing import drawing

from shopmon.service.tap.desk import cautions

LISTED = 40
ASSEMBLY = ("end_mill", "diameter_mm", "flutes", "stickout_mm", "holder")

blueprint = Blueprint("tap", __name__, url_prefix="/tap")


@blueprint.record_once
def lend(state) -> None:
    """Give the templates the numbers of this page."""
    names = ("stiffness", "hertz", "damping", "stiffness_error", "in_short")
    state.app.jinja_env.globals.update({f"tap_{name}": getattr(figures, name) for name in names})


@blueprint.get("")
def page() -> str:
    """The page *Tap test*."""
    monitor = current_app.extensions["monitor"]
    units, now, context = monitor.state()["units"], monitor.taps.state(), monitor.context()
    result = now["result"]
    return render_template(
        "tap/tap.html",
        cautions=cautions(), now=now, result=result, units=units, faults=figures.FAULTS, axes=figures.AXES,
        picture=drawing(result, now["curves"], units) if result else None,
        channels=monitor.taps.channels(), tool=summary({name: context.get(name) for name in ASSEMBLY}, units),
        calibrated_g=_calibrated_g(monitor),
        in_use=monitor.taps.in_use(), here=monitor.taps.tests(here=True, limit=LISTED),
        everything=monitor.taps.tests(limit=LISTED),
    )  # fmt: skip


def _calibrated_g(monitor) -> float | None:
    """What full scale of the first channel means in g, None where it is not calibrated in g."""
    calibration = monitor.all_sensors.vibration.calibration() or {"channels": []}
    found = (entry for entry in calibration["channels"] if entry["channel"] == 1 and entry["unit"] == "g")
    return next((entry["per_full_scale"] for entry in found), None)
