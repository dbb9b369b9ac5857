"""The page *Now*: made whole by the server, so that the first paint tells the state. A script moves it."""

from flask import Blueprint, current_app, render_template

from shopmon.service.tool_life import SOON_MIN

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
    return {"tool": tool, "outlook": outlook, "soon_min": SOON_MIN, "other_tools": others[:TOOLS_SHOWN]}


@blueprint.get("/")
def page() -> str:
    """The page *Now*."""
    return render_template("now/now.html", **present())
