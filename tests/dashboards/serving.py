"""The application behind a real server on loopback, and plain sockets to ask it with."""

import http.client
import json
import socket
import threading
from contextlib import contextmanager, suppress
from typing import Any

from shopmon.dashboards.access import Access
from shopmon.dashboards.app import create_app
from shopmon.dashboards.server import Server

LONGEST_S = 20.0


class Served:
    """A running server and the monitor behind it."""

    def __init__(self, monitor, access: Access | None = None):
        self.monitor = monitor
        self.app = create_app(monitor, access=access)
        self.server = Server(self.app, port=0)
        self.port = self.server.port
        self._thread = threading.Thread(target=self.server.run, name="web", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """End the server and wait for its thread."""
        self.server.close()
        self._thread.join(LONGEST_S)
        assert not self._thread.is_alive()

    def ask(self, method: str, path: str, body: Any = None, **headers: str):
        """Send one request; return status, headers and body."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=LONGEST_S)
        if body is not None and not isinstance(body, bytes):
            body = json.dumps(body).encode()
            headers.setdefault("Content-Type", "application/json")
        connection.request(
            method, path, body, {name.replace("_", "-"): text for name, text in headers.items()}
        )
        response = connection.getresponse()
        content = response.read()
        connection.close()
        return response.status, response.headers, content

    def send(self, text: str) -> bytes:
        """Send bytes as they are; return all that comes until the server ends the connection."""
        with socket.create_connection(("127.0.0.1", self.port), LONGEST_S) as raw:
            raw.sendall(text.encode("latin-1"))
            parts = []
            with suppress(ConnectionResetError):  # the server need not read what it refuses
                while part := raw.recv(65536):
                    parts.append(part)
            return b"".join(parts)

    @contextmanager
    def stream(self, **headers: str):
        """Open the event stream; gives an `EventReader`."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=LONGEST_S)
        connection.request("GET", "/api/stream", headers={k.replace("_", "-"): v for k, v in headers.items()})
        response = connection.getresponse()
        try:
            yield EventReader(response)
        finally:
            response.close()
            connection.close()


class EventReader:
    """Reads server-sent events one by one."""

    def __init__(self, response: http.client.HTTPResponse):
        self.status = response.status
        self.headers = response.headers
        self.response = response
        self.comments = 0
        self.retry_ms: int | None = None

    def next(self, *kinds: str) -> tuple[str, str, dict] | None:
        """Return ``(kind, id, data)`` of the next event, of one of `kinds` if given; None at the end."""
        while (event := self._event()) is not None:
            if event and (not kinds or event[0] in kinds):
                return event
        return None

    def _event(self) -> tuple | None:
        fields: dict[str, str] = {}
        while line := self.response.readline():
            text = line.decode().rstrip("\n")
            if not text:
                return self._finished(fields)
            if text.startswith(":"):
                self.comments += 1
                continue
            name, _, value = text.partition(": ")
            fields[name] = value
        return None

    def _finished(self, fields: dict[str, str]) -> tuple:
        if "retry" in fields:
            self.retry_ms = int(fields["retry"])
        if "data" not in fields:
            return ()
        return fields["event"], fields["id"], json.loads(fields["data"])
