"""The tap test: begin, watch, finish, keep; and the tests that are kept."""

from flask import jsonify
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor, truth
from shopmon.dashboards.errors import Refusal

ASKED = (
    *("safe", "axis", "hits", "record_s", "lowest_hz", "highest_hz", "response", "force"),
    *("response_full_scale", "response_unit", "force_full_scale"),
)


@blueprint.get("/tap")
def tap():
    """Where the test stands."""
    return jsonify(monitor().taps.state())


@blueprint.post("/tap")
def begin_tap():
    """Begin a test: ``{"safe": true, "axis": "x"}`` and what else is known of the sensors."""
    return jsonify(monitor().taps.start(json_body(known=ASKED)))


@blueprint.post("/tap/finish")
def finish_tap():
    """Judge the hits there are."""
    json_body(known=())
    return jsonify(monitor().taps.finish())


@blueprint.delete("/tap")
def stop_tap():
    """Give the test up."""
    return jsonify(monitor().taps.stop())


@blueprint.post("/tap/keep")
def keep_tap():
    """Keep the result for the tool assembly in the spindle: ``{"note": ""}``."""
    note = json_body(known=("note",)).get("note") or ""
    return jsonify(monitor().taps.keep(note)), 201


@blueprint.get("/tap/tests")
def tap_tests():
    """The tests that are kept, newest first."""
    return jsonify(tests=monitor().taps.tests())


@blueprint.post("/tap/tests/<test_id>")
def use_tap(test_id: str):
    """Let a test count, or no longer: ``{"used": false}``."""
    body = json_body(known=("used",))
    if "used" not in body:
        raise Refusal(400, "Nothing was said.", 'Send {"used": false}.')
    monitor().taps.set_used(test_id, truth("used", body["used"]))
    return jsonify(id=test_id, used=body["used"])
