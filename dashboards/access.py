"""Who may do what: this computer everything, a paired device everything, a controller's key one thing.

A device is paired once, by a one-time token (in the address behind a QR code) or by a short code typed in,
and then carries a long random cookie of which only the hash is kept. Nothing here depends on https: on a
shop's own network whoever can listen to the wireless traffic could copy the cookie, which is why the
monitor can do no more than be looked at and marked.
"""

import hashlib
import ipaddress
import secrets
import threading
import time
import uuid
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, Protocol

from flask import Request

from shopmon.errors import SettingError

COOKIE = "shopmon_device"
COOKIE_LIFE_S = 400 * 24 * 3600  # browsers keep a cookie no longer than this
TOKEN_LIFE_S = 24 * 3600.0
CODE_LIFE_S = 600.0
CODE_DIGITS = 8
FRESH_ENOUGH_S = 300.0
WRONG_CODES_PER_MINUTE = 10
WRONG_CODES_PER_CODE = 20
NAME_LIMIT = 60
FORWARDING = ("Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-Ip", "Via")
OPEN_TO_ALL = ("pairing.page", "pairing.join_page", "pairing.join", "look.asset_file", "static")
Role = Literal["local", "device", "controller", "stranger"]
SCOPES: dict[str, Role] = {"pages": "device", "context": "controller"}


class Devices(Protocol):
    """What is needed of `shopmon.records.archive.Archive`; a change counts when the call returns."""

    def add_device(self, device_id: str, name: str, token_hash: str, scope: str) -> None: ...

    def device_by_token_hash(self, token_hash: str) -> dict | None: ...

    def devices(self) -> list[dict]: ...

    def remove_device(self, device_id: str) -> None: ...


@dataclass(frozen=True, kw_only=True)
class Visitor:
    """Whoever sent a request, as far as we know."""

    role: Role
    device_id: str | None = None
    name: str = ""


class Access:
    """Decides who may do what, and pairs devices.

    Parameters
    ----------
    devices
        Keeps the paired devices; None where nobody can be paired.
    lan
        Whether other computers may reach the monitor at all.
    names
        More host names under which the monitor may be asked for.
    clock
        Seconds that only go forward; tests pass their own.
    """

    def __init__(
        self,
        devices: Devices | None = None,
        *,
        lan: bool = False,
        names: tuple[str, ...] = (),
        clock: Callable[[], float] = time.monotonic,
    ):
        if lan and devices is None:
            raise ValueError("pairing needs somewhere to keep the devices")
        self.lan = lan
        self.names = frozenset(name.lower() for name in names)
        self._devices = devices
        self._clock = clock
        self._lock = threading.Lock()
        self._token: tuple[str, float] | None = None
        self._code: tuple[str, float] | None = None
        self._wrong_times: deque[float] = deque()
        self._wrong_for_code = 0

    # who is it

    def visitor(self, request: Request) -> Visitor:
        """Tell who sent `request`: by the address of the peer, the cookie, or the key."""
        if is_direct_local(request):
            return Visitor(role="local", name="this computer")
        if not self.lan:
            return Visitor(role="stranger")
        secret = bearer(request) or request.cookies.get(COOKIE, "")
        device = self._device(secret)
        role = SCOPES.get(device["scope"]) if device else None
        # a key is no cookie and a cookie is no key: each works only where it belongs
        if role is None or (role == "controller") != bool(bearer(request)):
            return Visitor(role="stranger")
        return Visitor(role=role, device_id=str(device["id"]), name=device["name"])

    def allows(self, visitor: Visitor, method: str, endpoint: str) -> bool:
        """Tell whether `visitor` may use this endpoint."""
        if visitor.role in ("local", "device"):
            return True
        if visitor.role == "controller":
            return endpoint == "api.set_context" and method == "POST"
        return self.lan and endpoint in OPEN_TO_ALL

    def _device(self, secret: str) -> dict | None:
        if not secret or len(secret) > 200:
            return None
        return self._devices.device_by_token_hash(hashed(secret))

    # inviting

    def token(self) -> str:
        """Return the one-time token that is good now; a new one when the last is used up or old."""
        with self._lock:
            if not self._is_fresh(self._token):
                self._token = (secrets.token_urlsafe(18), self._clock() + TOKEN_LIFE_S)
            return self._token[0]

    def code(self) -> str:
        """Return the short code that is good now; a new one when the last is used up or old."""
        with self._lock:
            if not self._is_fresh(self._code):
                digits = f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}d}"
                self._code = (digits, self._clock() + CODE_LIFE_S)
                self._wrong_for_code = 0
            return self._code[0]

    def _is_fresh(self, secret: tuple[str, float] | None) -> bool:
        return secret is not None and self._clock() < secret[1] - FRESH_ENOUGH_S

    def _is_good(self, given: str, secret: tuple[str, float] | None) -> bool:
        # compared as bytes, in a time that does not tell how much of it was right
        alive = secret is not None and self._clock() < secret[1]
        return (
            secrets.compare_digest(given.encode("utf-8", "replace"), secret[0].encode() if alive else b"")
            and alive
        )

    def invitation_url(self, base_url: str) -> str:
        """Return the address to be scanned: it opens the pairing page with a fresh one-time token."""
        return f"{base_url.rstrip('/')}/pairing/join?token={self.token()}"

    def terminal_invitation(self, base_url: str) -> str:
        """Return the text for the terminal: a QR code, its address, and the short code."""
        from shopmon.dashboards.pairing.invitation import terminal_invitation

        return terminal_invitation(self.invitation_url(base_url), self.code())

    # pairing

    def token_is_good(self, token: str) -> bool:
        """Tell whether `token` would pair a device, without using it up."""
        with self._lock:
            return self._is_good(token, self._token)

    def pair_by_token(self, token: str, name: str) -> str | None:
        """Use up the one-time token; return the new device's secret, or None where the token is not good."""
        with self._lock:
            if not self._is_good(token, self._token):
                return None
            self._token = None
        return self._add(name, "pages")

    def pair_by_code(self, code: str, name: str) -> str | None:
        """Use up the short code; return the new device's secret, or None where the code is wrong.

        Raises
        ------
        TooManyTries
            So many wrong codes came lately that none is looked at for a while.
        """
        digits = "".join(ch for ch in code if ch.isascii() and ch.isdigit())
        with self._lock:
            self._refuse_haste()
            if not self._is_good(digits, self._code):
                self._note_wrong()
                return None
            self._code = None
        return self._add(name, "pages")

    def _refuse_haste(self) -> None:
        now = self._clock()
        while self._wrong_times and self._wrong_times[0] <= now - 60.0:
            self._wrong_times.popleft()
        if len(self._wrong_times) >= WRONG_CODES_PER_MINUTE:
            raise TooManyTries(self._wrong_times[0] + 60.0 - now)

    def _note_wrong(self) -> None:
        self._wrong_times.append(self._clock())
        self._wrong_for_code += 1
        if self._wrong_for_code >= WRONG_CODES_PER_CODE:
            self._code = None

    def new_controller_key(self, name: str) -> str:
        """Return a new key for a machine's controller; it is shown once and cannot be read again."""
        return self._add(name, "context")

    def _add(self, name: str, scope: str) -> str:
        if self._devices is None:
            raise SettingError("Nothing can be paired here.", "Start the monitor with --lan.")
        secret = secrets.token_urlsafe(32)
        self._devices.add_device(str(uuid.uuid4()), clean_name(name), hashed(secret), scope)
        return secret

    def devices(self) -> list[dict]:
        """Return the paired devices and keys: id, name and scope of each."""
        rows = self._devices.devices() if self._devices else []
        return [{"id": str(row["id"]), "name": row["name"], "scope": row["scope"]} for row in rows]

    def remove(self, device_id: str) -> None:
        """Forget a device or key: from now on it is a stranger."""
        if self._devices:
            self._devices.remove_device(device_id)


class TooManyTries(Exception):
    """Too many wrong codes lately.

    Parameters
    ----------
    wait_s
        Seconds until a code is looked at again.
    """

    def __init__(self, wait_s: float):
        super().__init__(f"too many wrong codes; wait {wait_s:.0f} s")
        self.wait_s = wait_s


def is_direct_local(request: Request) -> bool:
    """Tell whether the peer sits at this computer itself, not behind something that passes requests on."""
    if any(name in request.headers for name in FORWARDING):
        return False
    try:
        address = ipaddress.ip_address((request.remote_addr or "").partition("%")[0])
    except ValueError:
        return False
    mapped = getattr(address, "ipv4_mapped", None)
    return (mapped or address).is_loopback


def bearer(request: Request) -> str:
    """Return the key of an ``Authorization: Bearer`` header, empty where there is none."""
    kind, _, key = request.headers.get("Authorization", "").partition(" ")
    return key.strip() if kind.lower() == "bearer" else ""


def hashed(secret: str) -> str:
    """Return what is kept of a secret: its SHA-256. It is long and random, so it needs no slow hash."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def clean_name(name: str) -> str:
    """Return a name fit for the list: one line, printable, not too long, never empty."""
    printable = "".join(ch if ch.isprintable() else " " for ch in name)
    return " ".join(printable.split())[:NAME_LIMIT] or "unnamed device"
