"""The page *Spindle*: cautions first, then run by run, what changed, what rings, and the checks before."""

from flask import Blueprint, current_app, render_template
from shopmon.dashboards.spindle import figures
from shopmon.dashboards.spindle.drawing import map_drawing, trend_line

from shopmon.service.spindle.balance import CAUTIONS as BALANCE_CAUTIONS
from shopmon.service.spindle.desk import cautions
from shopmon.signals.block import sound_columns

LISTED = 30
SHARES = (0.2, 0.4, 0.6, 0.8)

blueprint = Blueprint("spindle", __name__, url_prefix="/spindle")


@blueprint.record_once
def lend(state) -> None:
    """Give the templates the numbers of this page."""
    names = ("level", "factor", "temperature", "degrees")
    state.app.jinja_env.globals.update({f"spindle_{name}": getattr(figures, name) for name in names})
    state.app.jinja_env.globals["spindle_line"] = trend_line


@blueprint.get("")
def page() -> str:
    """The page *Spindle*."""
    monitor = current_app.extensions["monitor"]
    desk, units = monitor.spindle, monitor.state()["units"]
    checks = desk.checks(LISTED)
    newest = next((check for check in checks if check["used"]), None)
    run = newest["result"]["run_up"] if newest else None
    machine = desk.machine()
    speeds = newest["result"]["steps"] if newest else []
    usual = [step["stated_rpm"] for step in speeds] or [
        round(share * machine.max_rpm, -2) for share in SHARES if share * machine.max_rpm >= machine.min_rpm
    ]
    return render_template(
        "spindle/spindle.html",
        cautions=cautions(), now=desk.state(), units=units, checks=checks, newest=newest,
        trends=desk.trends(),
        run=run, picture=map_drawing(run) if run else None, limits=desk.limits(), bearing=desk.bearing(),
        usual=usual, machine=machine, days=desk.days_since_last(), channels=channels(desk),
        phased=desk.phased(), balance_cautions=BALANCE_CAUTIONS,
        verdicts=figures.VERDICTS, parts=figures.bearing_of(newest), classes=figures.CLASSES,
    )  # fmt: skip


def channels(desk) -> list[dict]:
    """Return the channels that are heard, numbered from 1."""
    form = desk.source_format()
    if form is None:
        return []
    heard = [form.channels[column] for column in sound_columns(form.channels)]
    return [{"number": number, "kind": channel.kind} for number, channel in enumerate(heard, 1)]
