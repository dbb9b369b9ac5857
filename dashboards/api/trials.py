"""Blind trials: the key is opened when every part is graded."""

from flask import jsonify
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor
from shopmon.dashboards.compare.trials import trial_of
from shopmon.dashboards.errors import Refusal


@blueprint.post("/trials/open")
def open_trial():
    """Open the key: ``{"mills": {"1": "plum #1", "2": "bare #1"}, "parts": 8, "number": 48213}``."""
    body = json_body(known=("mills", "parts", "number"))
    mills, parts, number = body.get("mills"), body.get("parts"), body.get("number")
    labelled = isinstance(mills, dict) and all(isinstance(label, str) for label in mills.values())
    if not labelled or not isinstance(parts, int) or not isinstance(number, int):
        raise Refusal(400, "This names no trial.", "Open the key on the trial's own page.")
    labels = [mills[key] for key in sorted(mills)]
    return jsonify(credited=trial_of(monitor().register, labels, parts, number).open(monitor().register))
