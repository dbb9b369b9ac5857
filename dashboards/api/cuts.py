"""The cut log: a list with filters, one cut, its sound and its figures."""

from pathlib import Path
from typing import Any

from flask import Response, jsonify, request
from shopmon.dashboards.api.blueprint import blueprint, json_body, monitor, number, truth
from shopmon.dashboards.api.review import part_response
from shopmon.dashboards.api.sound import sound_response
from shopmon.dashboards.api.thinning import thinned
from shopmon.dashboards.errors import Refusal

from shopmon.errors import RecordingError
from shopmon.service.context import FIELDS, NUMBERS, TEXT_LIMIT
from shopmon.service.inspection import mixes_sensors

VERDICTS = {"chatter": "chatter", "quiet": "quiet", "no-cut": "no cut"}
TRUTHS = ("keep", "ended", "recovered")
SPEEDS = ("rpm_from", "rpm_to")
TIMES = ("since", "until")
FILTERS = ("limit", "before", *TIMES, "verdict", "words", *SPEEDS, *TRUTHS, *FIELDS)
LATEST_S = 1e11
LARGEST_SEQUENCE = 2**62
FIGURES_AT_ONCE = 2000


@blueprint.get("/cuts")
def cuts() -> Response:
    """The newest cuts first; ``next_before`` continues the list, null at its end."""
    unknown = sorted(set(request.args) - set(FILTERS))
    if unknown:
        raise Refusal(400, f"'{unknown[0][:40]}' is no filter.", f"Known filters: {', '.join(FILTERS)}.")
    limit = number("limit", request.args.get("limit", 100), 1, 500, int)
    before = None
    if "before" in request.args:
        before = number("before", request.args["before"], 0, LARGEST_SEQUENCE, int)
    rows, next_before = page_of_cuts(limit, before, asked_filters(request.args))
    return jsonify(cuts=rows, next_before=next_before)


def page_of_cuts(limit: int, before: int | None, filters: dict) -> tuple[list, int | None]:
    """Return at most `limit` cuts and the number to go on with, None where there are no more."""
    rows = monitor().cuts(limit=limit + 1, before_sequence=before, **filters)
    shown = rows[:limit]
    return shown, shown[-1]["sequence"] if len(rows) > limit else None


def asked_filters(args) -> dict[str, Any]:
    """Translate the query into the filters of `Monitor.cuts`."""
    filters: dict[str, Any] = {name: truth(name, args[name]) for name in TRUTHS if name in args}
    for name in FIELDS:
        if name in args:
            filters[name] = (
                number(name, args[name], *NUMBERS[name]) if name in NUMBERS else args[name][:TEXT_LIMIT]
            )
    if args.get("words", "").strip():
        filters["words"] = args["words"].strip()[:TEXT_LIMIT]
    for name in SPEEDS:
        if name in args:
            filters[name] = number(name, args[name], *NUMBERS["nominal_rpm"])
    for name in TIMES:
        if name in args:
            filters[name] = number(name, args[name], 0, LATEST_S)
    if "verdict" in args:
        if args["verdict"] not in VERDICTS:
            raise Refusal(
                400, "The verdict is not one that can be asked for.", f"Use one of: {', '.join(VERDICTS)}."
            )
        filters["called"] = VERDICTS[args["verdict"]]
    return filters


@blueprint.get("/cuts/<cut_id>")
def cut(cut_id: str) -> Response:
    """One cut with its events."""
    return jsonify(found(monitor().cut(cut_id)))


@blueprint.post("/cuts/<cut_id>/keep")
def keep(cut_id: str) -> Response:
    """Mark a cut's sound as never to be removed, or take the mark back with ``{"keep": false}``."""
    wanted = truth("keep", json_body(known=("keep",)).get("keep", True))
    found(monitor().cut(cut_id))
    monitor().set_keep(cut_id, wanted)
    return jsonify(id=cut_id, keep=wanted)


@blueprint.post("/cuts/<cut_id>/discard")
def discard(cut_id: str) -> Response:
    """Remove a cut's sound now; its figures and all that was said of it stay."""
    json_body(known=())
    found(monitor().cut(cut_id))
    if not monitor().discard_sound(cut_id):
        raise Refusal(409, "Something in this sound is marked keep.", "Take the mark off first.")
    return jsonify(id=cut_id, sound=False)


@blueprint.get("/cuts/<cut_id>/features")
def features(cut_id: str) -> Response:
    """The per-frame figures, thinned to what a screen can show."""
    points = number("points", request.args.get("points", FIGURES_AT_ONCE), 10, 20_000, int)
    try:
        figures = monitor().features(cut_id)
    except RecordingError as exc:
        raise Refusal(404, exc.text, exc.hint) from exc
    if figures is None:
        found(monitor().cut(cut_id))
        raise Refusal(404, "No figures are kept of this cut.", "Its engagements and events are still listed.")
    return jsonify(thinned(figures, points))


@blueprint.get("/cuts/<cut_id>/audio")
def audio(cut_id: str) -> Response:
    """The sound, also in ranges, so that a player can jump; ``?download=1`` saves it under a telling name.

    ``?only=left`` is what is left without the teeth, ``?only=strays`` the stray tones alone.
    """
    if "only" in request.args:
        return part_response(cut_id, request.args["only"])
    path = monitor().audio_path(cut_id)
    if path is None or not Path(path).is_file():
        found(monitor().cut(cut_id))
        raise Refusal(404, "The sound of this cut is not there.", "It may have been removed to make room.")
    if "download" not in request.args and mixes_sensors(path):
        return part_response(cut_id, "first")
    return sound_response(Path(path), f"cut-{cut_id}")


def found(cut: dict | None) -> dict:
    """Return the cut, or refuse because there is none."""
    if cut is None:
        raise Refusal(404, "There is no cut with this id.", "Look at the list under Cuts.")
    return cut
