"""How many false alarms the person would accept: the one setting of sensitivity, a wish and no rate."""

from flask import jsonify
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor
from shopmon.dashboards.errors import Refusal

NAME = "false_alarms_per_hour"


@blueprint.get("/carefulness")
def carefulness():
    """False chatter alarms that are accepted in an hour of cutting."""
    return jsonify({NAME: monitor().wishes.false_alarms_per_hour})


@blueprint.post("/carefulness")
def set_carefulness():
    """Accept more or fewer of them; it holds from this moment on."""
    body = json_body(known=(NAME,))
    if NAME not in body:
        raise Refusal(400, "No number was given.", f'Send {{"{NAME}": 0.1}}.')
    monitor().wishes.accept_false_alarms(body[NAME])
    return jsonify({NAME: monitor().wishes.false_alarms_per_hour})
