"""The spindle check: begin, run by run, finish; the checks that are kept, and the person's limits."""

from flask import jsonify
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor, truth
from shopmon.dashboards.errors import Refusal

ASKED = (
    "safe",
    "speeds",
    "run_up",
    "temperature_c",
    "running_min",
    "warmed_up",
    "bearing",
    "channel",
    "again",
)
BALANCE = ("before", "with_trial", "after", "mass_g", "radius_mm", "angle_deg", "turning_kg")


def desk():
    """Return the desk of spindle checks of the monitor that is served."""
    return monitor().spindle


@blueprint.get("/spindle")
def spindle():
    """Where the check stands."""
    return jsonify(desk().state())


@blueprint.post("/spindle")
def begin_check():
    """Begin a check: ``{"safe": true, "speeds": [3000, 6000], "run_up": true}`` and what else is known."""
    return jsonify(desk().start(json_body(known=ASKED)))


@blueprint.post("/spindle/run")
def begin_run():
    """Record the next run: the spindle turns as it was asked."""
    json_body(known=())
    return jsonify(desk().begin_run())


@blueprint.post("/spindle/run/end")
def end_run():
    """End the run-up."""
    json_body(known=())
    return jsonify(desk().end_run())


@blueprint.post("/spindle/finish")
def finish_check():
    """Keep the check as far as it got: ``{"note": ""}``."""
    note = json_body(known=("note",)).get("note") or ""
    return jsonify(desk().finish(note)), 201


@blueprint.delete("/spindle")
def stop_check():
    """Give the check up."""
    return jsonify(desk().stop())


@blueprint.get("/spindle/checks")
def spindle_checks():
    """The checks that are kept, newest first, and the newest beside those before it."""
    return jsonify(checks=desk().checks(), trends=desk().trends())


@blueprint.post("/spindle/checks/<check_id>")
def use_check(check_id: str):
    """Let a check count, or no longer: ``{"used": false}``."""
    body = json_body(known=("used",))
    if "used" not in body:
        raise Refusal(400, "Nothing was said.", 'Send {"used": false}.')
    desk().set_used(check_id, truth("used", body["used"]))
    return jsonify(id=check_id, used=body["used"])


@blueprint.post("/spindle/balance")
def balance():
    """Calculate the balance from kept runs: ``{"before": "ID@6000", "with_trial": …, "mass_g": 0.8, …}``."""
    return jsonify(desk().balance(json_body(known=BALANCE)))


@blueprint.post("/spindle/limits")
def set_limits():
    """Keep the person's own limits: ``{"velocity": 1.2, "acceleration": 0.4}``, in mm/s and g."""
    return jsonify(desk().set_limits(json_body(known=("velocity", "acceleration"))))
