"""What a person says of a cut, what it would have changed, and cuts heard again."""

from typing import Any

from flask import Response, jsonify
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor, number, truth
from shopmon.dashboards.api.cuts import found
from shopmon.dashboards.errors import Refusal

from shopmon.listening.preferences import Preferences
from shopmon.service.cuts.hearing_again import MOST_CUTS

NEWEST = 20
TRIES = ("reject", "heed", "false_alarms_per_hour")
NO_JOB = ("There is no such hearing (any more).", "Begin it again.")


@blueprint.post("/cuts/<cut_id>/say")
def say(cut_id: str):
    """What it was: ``{"verdict", "note"}``; for chatter also ``start_s``, ``end_s``, ``frequency_hz``."""
    body = json_body(known=("verdict", "note", "start_s", "end_s", "frequency_hz"))
    found(monitor().cut(cut_id))
    verdict, note = body.pop("verdict", None), body.pop("note", "")
    return jsonify(id=monitor().judging.say(cut_id, verdict, note or "", **body)), 201


@blueprint.delete("/cuts/<cut_id>/say/<judgement_id>")
def unsay(cut_id: str, judgement_id: str) -> Response:
    """Let a word no longer count."""
    found(monitor().cut(cut_id))
    monitor().judging.take_back(cut_id, judgement_id)
    return jsonify(taken_back=judgement_id)


@blueprint.post("/background/heed")
def heed():
    """Let a tone count although it was learned or rejected: ``{"frequency_hz": 1432.6}``."""
    monitor().wishes.heed(**json_body(known=("frequency_hz",)) or {"frequency_hz": None})
    return jsonify(entries=monitor().background()), 201


@blueprint.post("/hear-again")
def hear_again():
    """Hear stored cuts again, on a slow lane; poll ``GET /api/hear-again/ID``.

    ``{"cuts": [ids]}`` or ``{"newest": 20}`` with today's settings, kept as further analyses unless ``"keep":
    false``; with ``reject`` (``{"frequency_hz"}`` or ``{"order"}``, also ``family``, ``only_with``), ``heed``
    (``{"frequency_hz"}``) or ``false_alarms_per_hour`` it shows what such a wish would have changed, and
    keeps nothing.
    """
    body = json_body(known=("cuts", "newest", "keep", *TRIES))
    wanted = _wished(body)
    trying = any(name in body for name in TRIES)
    keep = truth("keep", body.get("keep", not trying))
    if trying and keep:
        raise Refusal(400, "What is only tried is not kept.", "Keep the wish first, then hear again.")
    return jsonify(monitor().hearing_again.begin(_chosen(body), wanted, keep=keep)), 202


@blueprint.get("/hear-again/<job_id>")
def heard_again(job_id: str) -> Response:
    """How far it is, and what differs."""
    return jsonify(_job(job_id))


@blueprint.delete("/hear-again/<job_id>")
def stop_hearing(job_id: str) -> Response:
    """Stop it; what was kept so far stays."""
    _job(job_id)
    monitor().hearing_again.stop(job_id)
    return jsonify(_job(job_id))


def _job(job_id: str) -> dict[str, Any]:
    job = monitor().hearing_again.job(job_id)
    if job is None:
        raise Refusal(404, *NO_JOB)
    return job


def _wished(body: dict[str, Any]) -> Preferences:
    asked = [name for name in TRIES if name in body]
    if len(asked) > 1:
        raise Refusal(400, "Only one change can be tried at a time.", f"Give one of {', '.join(TRIES)}.")
    wishes = monitor().wishes
    if not asked:
        return wishes.now
    value = body[asked[0]]
    if asked[0] == "false_alarms_per_hour":
        return wishes.accepting(value)
    known = ("frequency_hz", "order", "family", "only_with") if asked[0] == "reject" else ("frequency_hz",)
    if not isinstance(value, dict) or not value or set(value) - set(known):
        raise Refusal(400, f"{asked[0]} has no tone.", 'Give it as {"frequency_hz": 1432.6}.')
    if asked[0] == "heed":
        return wishes.heeding(**value)
    return wishes.rejecting(**{**value, "family": truth("family", value.get("family", False))})


def _chosen(body: dict[str, Any]) -> list[str]:
    ids = body.get("cuts")
    if ids is None:
        newest = number("newest", body.get("newest", NEWEST), 1, MOST_CUTS, int)
        heard = [cut["id"] for cut in monitor().cuts(limit=newest, ended=True) if cut["audio"]]
        if not heard:
            raise Refusal(409, "No cut has its sound any more.", "Hear again a cut that has.")
        return heard
    if not isinstance(ids, list) or not all(isinstance(one, str) for one in ids):
        raise Refusal(400, "cuts is no list of ids.", 'Send {"cuts": ["…"]}.')
    return ids
