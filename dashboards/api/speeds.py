"""Advice on speeds for programs: what past cuts say, what if, one chatter, and how it went to try it."""

from flask import jsonify, request
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor, number
from shopmon.dashboards.errors import Refusal

from shopmon.service.context import NUMBERS

WHAT_IF = ("ap_mm", "ae_mm", "stickout_mm", "flutes")
TRIED = ("answer", "action", "rpm", "ap_mm")


@blueprint.get("/speeds")
def speed_sheet():
    """What is known of the tool in the spindle, or of a change of it given as query parameters."""
    unknown = sorted(set(request.args) - set(WHAT_IF))
    if unknown:
        raise Refusal(400, f"'{unknown[0][:40]}' is no what-if.", f"Known: {', '.join(WHAT_IF)}.")
    asked = {name: number(name, value, *NUMBERS[name]) for name, value in request.args.items()}
    return jsonify(monitor().speeds.sheet(asked))


@blueprint.get("/speeds/events/<event_id>")
def chatter_advice(event_id: str):
    """Advice on one chatter, open or past."""
    return jsonify(_found(monitor().speeds.event(event_id)))


@blueprint.post("/speeds/events/<event_id>/tried")
def note_answer(event_id: str):
    """How it went: ``{"answer": "better" | "same" | "worse", "action": …, "rpm": …, "ap_mm": …}``."""
    body = json_body(known=TRIED)
    _found(monitor().speeds.event(event_id))
    advised = {"action": str(body.get("action", "speed"))[:40]}
    for name in ("rpm", "ap_mm"):
        if body.get(name) is not None:
            advised[name] = number(name, body[name], *NUMBERS["nominal_rpm" if name == "rpm" else name])
    return jsonify(monitor().speeds.tried(event_id, body.get("answer"), advised)), 201


@blueprint.delete("/speeds/events/<event_id>/tried/<answer_id>")
def take_answer_back(event_id: str, answer_id: str):
    """Take an answer back; the log keeps that it was given."""
    monitor().speeds.take_back(event_id, answer_id)
    return jsonify(taken_back=answer_id)


def _found(told: dict | None) -> dict:
    if told is None:
        raise Refusal(404, "There is no chatter with this id.", "Look at the last events on Now.")
    return told
