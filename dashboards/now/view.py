"""The page *Now*: made whole by the server, so that the first paint tells the state. A script moves it."""

from flask import Blueprint, current_app, render_template

EVENTS_SHOWN = 12

blueprint = Blueprint("now", __name__)


def present() -> dict:
    """Collect what the templates of this page show."""
    monitor = current_app.extensions["monitor"]
    return {
        "state": monitor.state(),
        "recents": monitor.recent_setups(),
        "events": monitor.log(EVENTS_SHOWN),
    }


@blueprint.get("/")
def page() -> str:
    """The page *Now*."""
    return render_template("now/now.html", **present())
