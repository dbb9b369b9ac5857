"""The sensor in use: its calibration, how it is mounted, and what it may be asked."""

from flask import jsonify, request
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor


def _desk():
    """The sensor that ``?source=NAME`` names, else the first."""
    return monitor().all_sensors.of(request.args.get("source"))


@blueprint.get("/sensors")
def sensors():
    """What is known of the sensor (``shopmon.sensors/1``)."""
    return jsonify(_desk().as_data())


@blueprint.post("/sensors/describe")
def describe_sensor():
    """Say which part it is and how it is mounted."""
    _desk().describe(json_body(known=("part", "mounting", "resonance_hz")))
    return sensors()


@blueprint.post("/sensors/place")
def measure_place():
    """Measure the sensor at rest in one place of the turn-over; answers after it has been measured."""
    return jsonify(_desk().measure_place(json_body(known=("place",)).get("place")))


@blueprint.post("/sensors/turn-over")
def finish_turn_over():
    """Calibrate by the places that were measured."""
    return jsonify(_desk().finish_turn_over())


@blueprint.post("/sensors/level")
def calibrate_level():
    """Calibrate a microphone by the tone that sounds now; answers after it has been measured."""
    body = json_body(known=("channel", "level_db"))
    return jsonify(_desk().calibrate_level(body.get("channel", 1), body.get("level_db", 94)))


@blueprint.post("/sensors/enter")
def enter_sensitivity():
    """Enter what full scale means."""
    body = json_body(known=("channel", "value", "what"))
    return jsonify(_desk().enter(body.get("channel", 1), body.get("value"), body.get("what")))
