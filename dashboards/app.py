"""The application factory: puts guard, compression, errors and every page folder together."""

import importlib
from pathlib import Path

from flask import Flask, redirect, url_for
from flask.json.provider import DefaultJSONProvider
from shopmon.dashboards import compression, errors, guard
from shopmon.dashboards.access import Access
from shopmon.dashboards.api.streams import Streams
from shopmon.dashboards.plain import to_json

FOLDER = Path(__file__).parent
MAX_BODY_BYTES = 64 * 1024


class PlainJSON(DefaultJSONProvider):
    """JSON that every reader understands: no NaN, no infinity, NumPy numbers as numbers."""

    def dumps(self, obj, **_):
        """Return `obj` as JSON text."""
        return to_json(obj)


def create_app(monitor, *, access: Access | None = None) -> Flask:
    """Make the application that serves one monitor.

    Each folder of this package that has a ``view.py`` is a page: its module holds a `flask.Blueprint` named
    ``blueprint``. Templates are named by folder, as in ``"now/now.html"``.

    Parameters
    ----------
    monitor
        A `shopmon.service.monitor.Monitor`, or anything with its methods.
    access
        Who may do what. None trusts this computer and nobody else.

    Returns
    -------
    Flask
        A WSGI application; ``app.extensions`` holds ``"monitor"``, ``"access"`` and ``"streams"``.
    """
    app = Flask("shopmon.dashboards", root_path=str(FOLDER), template_folder=".", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = MAX_BODY_BYTES
    app.config["MAX_FORM_PARTS"] = 20
    app.url_map.strict_slashes = False
    app.json = PlainJSON(app)
    app.jinja_env.autoescape = True
    app.extensions["monitor"] = monitor
    app.extensions["access"] = access or Access()
    app.extensions["streams"] = Streams()
    guard.install(app)
    compression.install(app)
    errors.install(app)
    for name in page_folders():
        app.register_blueprint(importlib.import_module(f"shopmon.dashboards.{name}.view").blueprint)
    add_front_door(app)
    return app


def page_folders(folder: Path = FOLDER) -> list[str]:
    """Names of the folders that are pages: those with a ``view.py``, in alphabetical order."""
    return sorted(view.parent.name for view in folder.glob("*/view.py"))


def add_front_door(app: Flask) -> None:
    """Lead ``/`` to the page *Now*, unless a page serves it itself."""
    taken = any(rule.rule == "/" for rule in app.url_map.iter_rules())
    if not taken and "now.page" in app.view_functions:
        app.add_url_rule("/", "front_door", lambda: redirect(url_for("now.page")))
