"""The pairing page: invite, pair, list, forget; works without a script."""

from flask import (
    Blueprint,
    Response,
    current_app,
    g,
    make_response,
    redirect,
    render_template,
    request,
    url_for,
)
from shopmon.dashboards.access import COOKIE, COOKIE_LIFE_S, Access, TooManyTries
from shopmon.dashboards.addresses import lan_address
from shopmon.dashboards.errors import Refusal
from shopmon.dashboards.guard import host_name
from shopmon.dashboards.pairing.invitation import qr_picture, spaced

blueprint = Blueprint("pairing", __name__, url_prefix="/pairing")


def access() -> Access:
    """Return the application's access rules."""
    return current_app.extensions["access"]


@blueprint.get("")
def page() -> str:
    """Invite others, for those who are in; a place to enter the code, for those who are not."""
    if g.visitor.role == "stranger":
        return entrance()
    return inside()


def inside(new_key: str = "", key_name: str = "") -> str:
    """Return the page of those who are in."""
    shown = {"new_key": new_key, "key_name": key_name, "lan": access().lan, "devices": access().devices()}
    if access().lan:
        url = access().invitation_url(base_url())
        shown.update(url=url.partition("/join")[0], qr=qr_picture(url), code=spaced(access().code()))
    return render_template("pairing/pairing.html", here=g.visitor.device_id, **shown)


def entrance(problem: str = "", token: str = "", status: int = 200) -> Response:
    """Return the page of those who are not in yet."""
    html = render_template("pairing/entrance.html", problem=problem, token=token, name=suggested_name())
    return make_response(html, status)


@blueprint.get("/join")
def join_page() -> Response:
    """Where the scanned address leads: one touch pairs. Opening it uses nothing up; previews do that."""
    if g.visitor.role != "stranger":
        return redirect("/")
    token = request.args.get("token", "")
    if access().token_is_good(token):
        return entrance(token=token)
    return entrance("This invitation has been used or is too old. Scan a new one, or enter the code.")


@blueprint.post("/join")
def join() -> Response:
    """Pair the device that sent a good token or code."""
    name = request.form.get("name", "")[:200] or suggested_name()
    token = request.form.get("token", "")
    if token:
        secret = access().pair_by_token(token, name)
        problem = "This invitation has been used or is too old. Scan a new one, or enter the code."
    else:
        secret, problem = try_code(name)
    if secret is None:
        return entrance(problem, status=403)
    response = redirect("/", 303)
    give_cookie(response, secret)
    return response


def try_code(name: str) -> tuple[str | None, str]:
    """Pair by the code in the form; return the secret, or None and what to tell the person."""
    try:
        secret = access().pair_by_code(request.form.get("code", "")[:40], name)
    except TooManyTries as error:
        wait_s = int(error.wait_s) + 1
        text = f"Too many wrong codes. Wait {wait_s} s, or scan the QR code."
        raise Refusal(
            429, text, "The code is shown on the page Pairing.", {"Retry-After": str(wait_s)}
        ) from error
    return (
        secret,
        "This is not the code, or it is too old. Look at the page Pairing on the monitor or a paired device.",
    )


@blueprint.post("/devices/<device_id>/remove")
def remove(device_id: str) -> Response:
    """Forget a device or key and end its live views."""
    if not any(str(row["id"]) == device_id for row in access().devices()):
        raise Refusal(404, "There is no such device.", "It may have been removed already.")
    access().remove(device_id)
    current_app.extensions["streams"].end(device_id)
    return redirect(url_for("pairing.page"), 303)


@blueprint.post("/keys")
def make_key() -> str:
    """Make a key for a controller; this page is the only place where it is ever shown."""
    name = request.form.get("name", "").strip()[:200]
    if not name:
        raise Refusal(400, "The key needs a name.", "Enter the machine's name.")
    return inside(access().new_controller_key(name), name)


@blueprint.after_app_request
def renew_cookie(response: Response) -> Response:
    """Let the cookie of a device that is in use start its life anew."""
    visitor = g.get("visitor")
    if (
        visitor
        and visitor.role == "device"
        and response.mimetype == "text/html"
        and response.status_code == 200
    ):
        give_cookie(response, request.cookies[COOKIE])
    return response


def give_cookie(response: Response, secret: str) -> None:
    """Hand a device its secret. Not marked Secure: a shop's network has no https."""
    response.set_cookie(COOKIE, secret, max_age=COOKIE_LIFE_S, httponly=True, samesite="Lax", path="/")


def base_url() -> str:
    """Return the address under which other devices reach us."""
    name = host_name(request.host) or ""
    if name == "localhost" or name.startswith("127.") or name == "::1":
        _, _, port = request.host.rpartition(":")
        return f"http://{lan_address() or name}:{port if port.isdecimal() else 80}"
    return f"{request.scheme}://{request.host}"


def suggested_name() -> str:
    """Return a plain word for the asking device, from what its browser says of itself."""
    agent = request.headers.get("User-Agent", "")
    kinds = (("iPad", "tablet"), ("iPhone", "phone"), ("Mobile", "phone"), ("Android", "tablet"))
    return next((word for sign, word in kinds if sign in agent), "computer")
