"""Serve the pages' own scripts, styles and pictures, and lend every template the shared words."""

import hashlib
import mimetypes
from functools import lru_cache
from pathlib import Path

from flask import Blueprint, Response, abort, url_for
from shopmon.dashboards.look import words

FOLDER = Path(__file__).resolve().parent.parent
KINDS = {".css", ".js", ".svg"}
mimetypes.add_type("text/javascript", ".js")

blueprint = Blueprint("look", __name__, template_folder=str(FOLDER))


@lru_cache(maxsize=1)
def assets() -> dict[str, bytes]:
    """Every file of the pages that a browser may ask for, by its path below dashboards/."""
    files = sorted(path for path in FOLDER.rglob("*") if path.suffix in KINDS and path.is_file())
    return {path.relative_to(FOLDER).as_posix(): path.read_bytes() for path in files}


@lru_cache(maxsize=1)
def version() -> str:
    """One hash over all: modules import each other by relative path, so they change address together."""
    digest = hashlib.sha256()
    for name, content in assets().items():
        digest.update(name.encode() + b"\0" + content)
    return digest.hexdigest()[:12]


@blueprint.get("/assets/<mark>/<path:name>")
def asset_file(mark: str, name: str) -> Response:
    """Serve one file, to be kept for ever where the address carries the present hash, else never."""
    content = assets().get(name)
    if content is None:
        abort(404)
    response = Response(content, mimetype=mimetypes.guess_type(name)[0])
    lasting = "public, max-age=31536000, immutable"
    response.headers["Cache-Control"] = lasting if mark == version() else "no-cache"
    return response


def asset(name: str) -> str:
    """Return the address of a page's file, such as ``look/style.css``."""
    return url_for("look.asset_file", mark=version(), name=name)


def shape(name: str) -> str:
    """Return the address of one shape, for the ``use`` element of an inline picture."""
    return f"{asset('look/shapes.svg')}#{name}"


@blueprint.record_once
def lend(state) -> None:
    """Give templates the filters, the words and the addresses of files."""
    state.app.jinja_env.filters.update(words.FILTERS)
    state.app.jinja_env.globals.update(asset=asset, shape=shape, **words.GLOBALS)
