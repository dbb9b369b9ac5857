"""The page *Speeds*: the learned map, advice for an aim, what if, and the advice on one chatter."""

from typing import Any

from flask import Blueprint, current_app, render_template, request
from shopmon.dashboards.errors import Refusal
from shopmon.dashboards.look.measures import feed
from shopmon.dashboards.speeds import figures
from shopmon.dashboards.speeds.drawing import SHADES, drawing

from shopmon.cutting.finishing.smooth_depths import smooth_depths_mm
from shopmon.cutting.materials import GROUPS, MATERIALS
from shopmon.errors import SettingError

AIMS = {
    "most-metal": ("Most metal", "remove as much as is likely to stay quiet"),
    "surest": ("Surest", "stay well clear of chatter"),
    "finish": ("Finish", "a fast spindle and a light cut, for the wall that is seen"),
}
WHAT_IF = ("ap_mm", "ae_mm", "stickout_mm", "flutes")
CARDS = {
    **{aim: name for aim, (name, _) in AIMS.items()},
    "same-depth": "At the depth you want",
    "now": "As it is now",
    "trial": "Worth trying next",
    "surest-there-is": "The surest there is",
}
ACTIONS = {
    "less-depth": "Less depth",
    "less-stickout": "Less stickout",
    "other-tool": "Another tool",
    "none": "Leave the speed",
}
ANSWERS = (("better", "Better"), ("same", "Same"), ("worse", "Worse"))
SMOOTH_DIAMETERS = 3.0
TRIALS_LISTED = 40
SAME = 0.01

blueprint = Blueprint("speeds", __name__, url_prefix="/speeds")


@blueprint.record_once
def lend(state) -> None:
    """Give the templates the numbers of this page."""
    lengths = ("depth", "length", "tiny", "cutting_speed", "in_units", "unit_of")
    said = (*lengths, "rpm", "chance", "summary")
    state.app.jinja_env.globals.update({f"say_{name}": getattr(figures, name) for name in said})
    state.app.jinja_env.globals["say_feed"] = feed


@blueprint.get("")
def page() -> str:
    """The page *Speeds*."""
    monitor = current_app.extensions["monitor"]
    units = monitor.state()["units"]
    aim = request.args.get("aim")
    aim = aim if aim in AIMS else "most-metal"
    problem = None
    try:
        told = monitor.speeds.sheet(asked_what_if(request.args, units))
    except SettingError as exc:
        problem, told = exc, monitor.speeds.sheet()
    result = told["result"]
    return render_template(
        "speeds/speeds.html",
        told=told, result=result, units=units, measured=monitor.taps.in_use(),
        aim=aim, aims=AIMS, problem=problem,
        names=figures.FIELDS, what_if=WHAT_IF, materials=materials(), cards=CARDS,
        picture=drawing(result, aim, units) if result else None, shades=SHADES,
        asked_back={name: request.args[name] for name in WHAT_IF if request.args.get(name)},
        smooth=smooth_depths(told["context"]), listed=(result or {}).get("trials", [])[-TRIALS_LISTED:][::-1],
    )  # fmt: skip


@blueprint.get("/event/<event_id>")
def event(event_id: str) -> str:
    """Advice on one chatter."""
    monitor = current_app.extensions["monitor"]
    told = monitor.speeds.event(event_id)
    if told is None:
        raise Refusal(404, "There is no chatter with this id.", "Look at the last events on Now.")
    return render_template(
        "speeds/event.html", told=told, tried=tried, event=told["event"], units=monitor.state()["units"],
        answers=ANSWERS, actions=ACTIONS, cards=CARDS,
    )  # fmt: skip


def tried(card: dict[str, Any], answers: list[dict]) -> dict | None:
    """Return the last answer that was given to what a card advises; None where there is none."""
    wanted = (card.get("rpm"), card.get("ap_mm"))
    given = (each for each in reversed(answers) if _close(wanted, (each.get("rpm"), each.get("ap_mm"))))
    return next(given, None)


def _close(one: tuple, other: tuple) -> bool:
    """Whether speed and depth agree as far as anybody could set them."""
    return all(
        a is b if a is None or b is None else abs(a - b) <= SAME * abs(b)
        for a, b in zip(one, other, strict=True)
    )


def asked_what_if(args, units: str) -> dict[str, Any]:
    """Return what the address asks, in our units; empty fields ask nothing.

    Raises
    ------
    SettingError
        A field holds no number.
    """
    asked = {}
    for name in WHAT_IF:
        text = args.get(name, "").strip().replace(",", ".")
        if text:
            try:
                asked[name] = float(text) * figures.unit_of(name, units)[1]
            except ValueError:
                label = figures.FIELDS[name]
                raise SettingError(f"{label}: '{text[:20]}' is no number.", "Type it in digits.") from None
    return asked


def materials() -> list[tuple[str, str]]:
    """Return the materials of which a force is known, short name and plain name."""
    alloys = [(name, known.label) for name, known in MATERIALS.items()]
    return alloys + [(name, f"{known.label} (ISO 513 group {name})") for name, known in GROUPS.items()]


def smooth_depths(context: dict[str, Any]) -> tuple[float, ...] | None:
    """Return the depths at which a helical end mill comes out most evenly; None where it is not known."""
    diameter, flutes, helix = (context.get(name) for name in ("diameter_mm", "flutes", "helix_deg"))
    if not (diameter and flutes and helix):
        return None
    return smooth_depths_mm(diameter, flutes, helix, SMOOTH_DIAMETERS * diameter)
