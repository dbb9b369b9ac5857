"""A paired phone knows the time; a Pi without a clock chip and a network does not."""

from flask import jsonify
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor, number, truth
from shopmon.dashboards.errors import Refusal

EARLIEST_S = 1_735_689_600.0  # 2025-01-01
LATEST_S = 4_102_444_800.0  # 2100-01-01


@blueprint.post("/clock")
def offer_time():
    """Take the time of the asking device, once, and only after the person said yes."""
    body = json_body(known=("time_s", "confirm"))
    time_s = number("time_s", body.get("time_s"), EARLIEST_S, LATEST_S)
    if monitor().state().get("clock_set"):
        raise Refusal(409, "The monitor's clock is set already.", "Nothing needs to be done.")
    if not truth("confirm", body.get("confirm", False)):
        return jsonify(clock_set=False, needs_confirmation=True, time_s=time_s), 202
    monitor().set_clock(time_s, "phone")
    return jsonify(clock_set=True, time_s=time_s)
