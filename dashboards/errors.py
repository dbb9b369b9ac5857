"""What a failing request is told: one sentence and what to do next, as JSON or as a page."""

import logging

from flask import Flask, Response, jsonify, render_template, request
from werkzeug.exceptions import HTTPException

from shopmon.errors import ProgramError, SettingError, ShopmonError

log = logging.getLogger(__name__)

SENTENCES = {
    400: ("The request cannot be understood.", "Reload the page and try again."),
    401: (
        "This device is not paired with the monitor.",
        "Open /pairing and enter the code, or scan the QR code.",
    ),
    403: ("This is not allowed.", "Use a paired device, at the address the monitor printed."),
    404: ("There is nothing at this address.", "Go back to the first page."),
    405: (
        "This address does not take requests of this kind.",
        "Look at the list of routes in DEVELOPERS.md.",
    ),
    409: ("That cannot be done as things are.", "Reload the page."),
    413: ("The request is larger than the monitor accepts.", "Send less at once."),
    415: ("The request must be JSON.", "Send it with the header Content-Type: application/json."),
    416: ("The recording has no such part.", "Ask for a range that lies within the file."),
    429: ("Too many tries.", "Wait a minute and try again."),
    500: (
        "Something went wrong inside the monitor; it keeps listening.",
        "Try again; the log says what happened.",
    ),
    503: ("The monitor cannot do this just now.", "Try again in a few seconds."),
}


class Refusal(Exception):
    """A request that is answered with an error.

    Parameters
    ----------
    status
        HTTP status.
    text, hint
        One sentence what is wrong, and what to do next; where empty, the usual ones of this status.
    headers
        More response headers.
    """

    def __init__(self, status: int, text: str = "", hint: str = "", headers: dict[str, str] | None = None):
        usual_text, usual_hint = SENTENCES.get(status, SENTENCES[500])
        super().__init__(text or usual_text)
        self.status = status
        self.text = text or usual_text
        self.hint = hint or usual_hint
        self.headers = headers or {}


def install(app: Flask) -> None:
    """Answer every failure of `app` in the one shape."""
    app.register_error_handler(Refusal, lambda refusal: answer(refusal))
    app.register_error_handler(HTTPException, answer_http)
    app.register_error_handler(ShopmonError, answer_shopmon)
    app.register_error_handler(Exception, answer_unexpected)


def answer(refusal: Refusal) -> Response:
    """Return the response for a refusal: JSON below /api, a page elsewhere."""
    if wants_json():
        response = jsonify(error=refusal.text, hint=refusal.hint)
    else:
        response = Response(error_page(refusal), mimetype="text/html")
    response.status_code = refusal.status
    response.headers.update(refusal.headers)
    response.headers["Cache-Control"] = "no-store"
    return response


def wants_json() -> bool:
    """Tell programs from people by the address and by what they accept."""
    return (
        request.path.startswith("/api/")
        or request.path == "/api"
        or (request.accept_mimetypes.best == "application/json")
    )


def error_page(refusal: Refusal) -> str:
    """Return the page for a refusal; a plain one where the template itself is in trouble."""
    try:
        return render_template("pairing/error.html", refusal=refusal)
    except Exception:
        log.exception("the error page could not be made")
        return f"<!doctype html><html lang=en><title>shopmon</title><h1>Error {int(refusal.status)}</h1>"


def answer_http(error: HTTPException) -> Response:
    """Translate what Flask and Werkzeug raise."""
    status = error.code or 500
    if status < 400:
        return error.get_response()
    refusal = Refusal(status)
    for name, value in error.get_headers():
        if name in ("Allow", "Content-Range", "Retry-After"):
            refusal.headers[name] = value
    return answer(refusal)


def answer_shopmon(error: ShopmonError) -> Response:
    """Translate our own errors: a setting or program is the asker's to mend, the rest is out of reach."""
    theirs = isinstance(error, SettingError | ProgramError)
    return answer(Refusal(400 if theirs else 503, error.text, error.hint))


def answer_unexpected(error: Exception) -> Response:
    """Log the traceback and answer calmly."""
    log.error("request %s %s failed", request.method, request.path, exc_info=error)
    return answer(Refusal(500))
