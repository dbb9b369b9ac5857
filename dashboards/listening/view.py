"""The page *Listening*: what is taken for background, and what a person says of single tones."""

from flask import Blueprint, current_app, render_template

from shopmon.listening.preferences import near

ORIGINS = {
    "idle": "heard while nothing was cut",
    "air-cut": "heard while cutting air",
    "other rotation": "turns with another machine",
    "rejected by the person": "you said: no chatter",
}

CHOICES = (
    (0.02, "Fewer false alarms, later", "slight chatter may be called late or never"),
    (0.1, "Balanced", "as the monitor comes"),
    (0.5, "Earlier, more false alarms", "rather too often than too late"),
)

blueprint = Blueprint("listening", __name__, url_prefix="/listening")


@blueprint.get("")
def page() -> str:
    """The page *Listening*."""
    monitor = current_app.extensions["monitor"]
    state = monitor.state()
    return render_template(
        "listening/listening.html",
        tones=suspects(state),
        entries=monitor.background(),
        origins=ORIGINS,
        choices=CHOICES,
        chosen=monitor.wishes.false_alarms_per_hour,
    )


def suspects(state: dict) -> list[dict]:
    """Return the tones that may be rejected now, each with its multiple of the rotation where that is known.

    Parameters
    ----------
    state
        Body of ``GET /api/state``.
    """
    chatter = [state["chatter"]] if state["chatter"] else []
    heard_hz = [tone["frequency_hz"] for tone in state["stray"]]
    found = [*state["stray"], *(tone for tone in chatter if not near(tone["frequency_hz"], heard_hz))]
    turn_hz = state["rpm"] / 60 if state["rpm"] else None
    return [
        {
            "frequency_hz": tone["frequency_hz"],
            "level_db": tone["level_db"],
            "order": round(tone["frequency_hz"] / turn_hz, 3) if turn_hz else None,
            "why": tone.get("why", "this is what the alarm is about"),
        }
        for tone in sorted(found, key=lambda tone: tone["frequency_hz"])
    ]
