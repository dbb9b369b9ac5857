"""The page *Now*: made whole by the server, so that the first paint tells the state. A script moves it."""

from flask import Blueprint, current_app, render_template

from shopmon.cutting.materials import MATERIALS
from shopmon.records.tools.fields import same_label
from shopmon.service.mills.life import SOON_MIN

EVENTS_SHOWN = 12
TOOLS_SHOWN = 4

blueprint = Blueprint("now", __name__)


def present() -> dict:
    """Collect what the templates of this page show."""
    monitor = current_app.extensions["monitor"]
    state = monitor.state()
    return {
        "state": state,
        **spindle(monitor, state),
        "recents": monitor.recent_setups(),
        "events": monitor.log(EVENTS_SHOWN),
    }


def spindle(monitor, state: dict) -> dict:
    """Collect which tool is in the spindle and which others are touched most likely, newest first."""
    tool_id = state["end_mill"]["id"]
    tool = monitor.register.tool(tool_id) if tool_id else None
    others = [each for each in monitor.register.recent(TOOLS_SHOWN + 1) if each.id != tool_id]
    outlook = monitor.outlooks.now().get(tool_id) if tool and tool.retirement is None else None
    return {
        "tool": tool,
        "outlook": outlook,
        "soon_min": SOON_MIN,
        "other_tools": others[:TOOLS_SHOWN],
        "job": job(monitor),
    }


def job(monitor) -> list[tuple[str, str, str | None, list[tuple[str, str]]]]:
    """Return material, part and operation: name, words, what is chosen, and what can be with its words."""
    context, register = monitor.context(), monitor.register
    tabled = {"material": {key: material.label for key, material in MATERIALS.items()}}
    found = []
    for name in ("material", "part", "operation"):
        chosen = context.get(name)
        own = [row["label"] for row in register.rows(f"{name}s")]
        options = {same_label(label): (label, label) for label in [*own, *([chosen] if chosen else [])]}
        for key, words in tabled.get(name, {}).items():
            options.setdefault(same_label(key), (key, words))
        found.append((name, name.capitalize(), chosen, sorted(options.values(), key=lambda each: each[1])))
    return found


@blueprint.get("/")
def page() -> str:
    """The page *Now*."""
    return render_template("now/now.html", **present())
