"""The page *Help*: what is to be seen and heard, in the trade's plain words."""

import re

from flask import Blueprint, render_template
from shopmon.dashboards.look.words import STATES

from shopmon.listening.intake.health import NOTICES

PLACE = re.compile(r"\{[^}]*\}")
DO = {
    "no-input": "Look at the input on Now; shopmon devices lists what is plugged in.",
    "stopped": "Nothing to do. If it turns all the same, give its speed, or bring the sensor nearer.",
    "spinning": "Let it idle a few seconds before the first cut: that is when the background is learned.",
    "air-cut": "Nothing to do. Time here is no cut time.",
    "cutting": "Nothing to do.",
    "chatter": "Turn the spindle override, take less depth, or shorten the stickout. Slight: the pass may "
    "often be finished. Heavy: stop the feed as the machine's manual says.",
    "away": "Check the shop's network and whether the computer beside the machine has power.",
}

blueprint = Blueprint("help", __name__, url_prefix="/help")


@blueprint.get("")
def page() -> str:
    """The page *Help*."""
    states = [{**STATES[name], "name": name, "do": what} for name, what in DO.items()]
    return render_template("help/help.html", states=states, notices=notices())


def notices() -> list[dict[str, str]]:
    """Return every notice about the sound, with dots where a figure stands."""
    return [
        {"code": code, "text": PLACE.sub("…", text), "hint": PLACE.sub("…", hint)}
        for code, (text, hint) in NOTICES.items()
    ]
