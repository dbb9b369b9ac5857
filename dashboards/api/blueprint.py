"""The one blueprint of the interface, and the small helpers its routes share."""

import json
from collections.abc import Callable
from typing import Any

from flask import Blueprint, current_app, request
from shopmon.dashboards.errors import Refusal

blueprint = Blueprint("api", __name__, url_prefix="/api")
JSON_ONLY = "Send a JSON object with the header Content-Type: application/json."


def monitor():
    """Return the monitor that is served."""
    return current_app.extensions["monitor"]


def json_body(*, known: tuple[str, ...] | None = None) -> dict[str, Any]:
    """Return the request's JSON object.

    Only the JSON content type is taken: a browser sends it across sites only after asking, which we never
    allow.

    Parameters
    ----------
    known
        The names that may occur; None leaves that check to the receiver.
    """
    if not request.is_json:
        if not request.content_length and known is not None:
            return {}
        raise Refusal(415)
    try:
        body = request.get_json(silent=True)
    except RecursionError:  # thousands of brackets
        body = None
    if not isinstance(body, dict):
        raise Refusal(400, "The body is not a JSON object.", JSON_ONLY)
    _refuse_halved_characters(body)
    unknown = sorted(set(body) - set(known)) if known is not None else []
    if unknown:
        raise Refusal(
            400, f"'{unknown[0][:40]}' is not known here.", f"Known: {', '.join(known) or 'nothing'}."
        )
    return body


def _refuse_halved_characters(body: dict[str, Any]) -> None:
    """Refuse half a surrogate pair: JSON lets it in, no page or log could be sent with it ever after."""
    try:
        json.dumps(body, ensure_ascii=False).encode()
    except UnicodeEncodeError as exc:
        raise Refusal(400, "The body holds text that is no Unicode.", "Type the text again.") from exc


def number(name: str, value: Any, low: float, high: float, kind: Callable = float) -> Any:
    """Return `value` as a number between `low` and `high`, or refuse and say what is wanted."""
    try:
        if isinstance(value, bool):
            raise ValueError
        result = kind(value)
        if low <= result <= high:
            return result
    except (TypeError, ValueError, OverflowError):
        pass
    raise Refusal(400, f"{name} cannot be {str(value)[:40]!r}.", f"Use a number from {low:g} to {high:g}.")


def truth(name: str, value: Any) -> bool:
    """Return `value` as true or false, or refuse."""
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and value.lower() in ("true", "false", "1", "0", "yes", "no"):
        return value.lower() in ("true", "1", "yes")
    raise Refusal(400, f"{name} cannot be {str(value)[:40]!r}.", "Use true or false.")
