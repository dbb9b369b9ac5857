"""Blind trials: drawn, graded by code, and opened when every part is graded."""

from flask import jsonify
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor
from shopmon.dashboards.errors import Refusal

from shopmon.errors import SettingError
from shopmon.service.mills.blind_trials import draw_trial, open_key, trial_of


@blueprint.post("/trials")
def draw():
    """Draw a trial: ``{"mills": {"1": id, "2": id}, "parts": 8, "material": …, "operation": …}``."""
    body = json_body(known=("mills", "parts", "material", "operation"))
    mills, parts = body.get("mills"), body.get("parts")
    named = isinstance(mills, dict) and all(isinstance(each, str) for each in mills.values())
    if not named or isinstance(parts, bool) or not isinstance(parts, int):
        raise Refusal(400, "This names no trial.", "Choose the end mills and say how many parts.")
    ids = [mills[key] for key in sorted(mills)]
    drawn = draw_trial(monitor().register, ids, parts, body.get("material"), body.get("operation"))
    return jsonify(id=drawn), 201


@blueprint.post("/trials/<trial_id>/open")
def open_trial(trial_id: str):
    """Open the key: every graded part is credited to the end mill that cut it."""
    json_body(known=())
    trial = _found(trial_id)
    if not trial.complete:
        raise Refusal(409, f"Only {trial.stands}.", "Grade them all, then open the key.")
    return jsonify(credited=open_key(monitor().register, trial))


def _found(trial_id: str):
    try:
        return trial_of(monitor().register, trial_id)
    except SettingError:
        raise Refusal(404, "There is no such trial.", "Look at the list under Compare.") from None
