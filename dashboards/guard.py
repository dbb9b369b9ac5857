"""Who may ask for what, and what browsers are told about it.

Three checks before every request: the Host header (against DNS rebinding), the origin (against other sites in
the same browser), and the right of the asker (this computer, a paired device, a controller's key).
"""

import ipaddress
import socket

from flask import Flask, Response, current_app, g, redirect, request, url_for
from shopmon.dashboards.errors import Refusal, wants_json

CONTENT_POLICY = "; ".join(
    (
        "default-src 'self'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "media-src 'self' blob:",
        "connect-src 'self'",
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # not "no-referrer": browsers then hide the origin of our own forms too, which is checked below
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
OWN_SITES = ("same-origin", "none")


def install(app: Flask) -> None:
    """Check every request of `app` and mark every response."""
    app.before_request(check_host)
    app.before_request(check_origin)
    app.before_request(check_right)
    app.after_request(add_headers)


def check_host() -> None:
    """Refuse names that are not ours: a foreign name that resolves to this address is DNS rebinding."""
    host = request.environ.get("HTTP_HOST") or request.host  # HTTP/1.0 needs none
    if not known_host(host, current_app.extensions["access"].names):
        raise Refusal(
            403, "The monitor is not known by this name.", "Use the address that it printed at its start."
        )


def known_host(host: str, names: frozenset[str] = frozenset()) -> bool:
    """Tell whether a Host header names this computer.

    Any literal address is fine (rebinding needs a name); of names only ``localhost``, this computer's own,
    also with ``.local``, and those in `names`.
    """
    name = host_name(host)
    if name is None:
        return False
    try:
        ipaddress.ip_address(name)
        return True
    except ValueError:
        own = socket.gethostname().lower().partition(".")[0]
        return name in {"localhost", own, f"{own}.local", socket.gethostname().lower()} | names


def host_name(host: str) -> str | None:
    """Return the name in a Host header, without port and brackets; None where it is malformed."""
    name, colon, port = host.rpartition(":")
    if not colon or host.endswith("]"):
        name, port = host, "80"
    if not port.isdecimal() or not name:
        return None
    if name.startswith("[") and name.endswith("]"):
        return name[1:-1]
    return name.lower().rstrip(".")


def check_origin() -> None:
    """Refuse what another site makes the browser send, and keep other sites off the interface altogether."""
    site = request.headers.get("Sec-Fetch-Site")
    origin = request.headers.get("Origin")
    changes = request.method not in SAFE_METHODS
    foreign = (site is not None and site not in OWN_SITES) or (origin is not None and origin != own_origin())
    if foreign and (changes or request.path.startswith("/api")):
        raise Refusal(403, "Another site asked for this.", "Open the monitor's own page and do it there.")


def own_origin() -> str:
    """Return the origin under which the browser sees this request's page."""
    return f"{request.scheme}://{request.host}"


def check_right() -> Response | None:
    """Refuse those who are not paired; people are shown how to pair, programs get 401."""
    access = current_app.extensions["access"]
    g.visitor = access.visitor(request)
    if access.allows(g.visitor, request.method, request.endpoint or ""):
        return None
    if g.visitor.role == "controller":
        raise Refusal(
            403, "This key may only post to /api/context.", "Use a paired device for everything else."
        )
    if access.lan and not wants_json() and request.method in SAFE_METHODS:
        return redirect(url_for("pairing.page"))
    raise Refusal(401 if access.lan else 403)


def add_headers(response: Response) -> Response:
    """Add the security headers; whatever says nothing else about caching is not cached."""
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    response.headers.setdefault("Cache-Control", "no-store")
    return response
