"""A real ``shopmon listen`` in a process of its own, seen only through what it prints and serves."""

import http.client
import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit


class ListenProcess:
    """Start, watch and end the service.

    Parameters
    ----------
    data_dir
        Where it keeps things.
    arguments
        Further command line arguments.
    environment
        Additions to the environment.
    """

    def __init__(self, data_dir: Path, *arguments: str, environment: dict[str, str] | None = None):
        self.data_dir = data_dir
        self.log: list[str] = []
        self.url = ""
        self.started = time.monotonic()
        command = [
            sys.executable,
            "-m",
            "shopmon",
            "listen",
            "--data",
            str(data_dir),
            "--port",
            "0",
            *arguments,
        ]
        quiet = {"SHOPMON_SETTINGS": "", "PYTHONUNBUFFERED": "1"}
        env = {k: v for k, v in os.environ.items() if k not in quiet} | {"PYTHONUNBUFFERED": "1"}
        env |= {"XDG_CONFIG_HOME": str(data_dir.parent / "no-settings")} | (environment or {})
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=env
        )
        self._served = threading.Event()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        for line in self.process.stdout:
            self.log.append(line.rstrip())
            if found := re.search(r"http://\S+?(?=[\s.]*(?: in a browser|$))", line):
                self.url = self.url or found.group().rstrip("/")
                self._served.set()
        self._served.set()

    def wait_until_served(self, timeout_s: float = 30.0) -> "ListenProcess":
        """Wait for the printed address and the first answer."""
        assert self._served.wait(timeout_s), "\n".join(self.log)
        assert self.url, "\n".join(self.log)
        deadline = time.monotonic() + timeout_s
        while True:
            try:
                self.get("/api/health")
                return self
            except OSError:
                assert time.monotonic() < deadline, "\n".join(self.log)
                time.sleep(0.02)

    def get(self, path: str) -> dict:
        """GET a JSON document."""
        return json.loads(self.get_bytes(path))

    def get_bytes(self, path: str) -> bytes:
        """GET a body; anything but 200 is an error."""
        connection = self._connection()
        try:
            connection.request("GET", path)
            answer = connection.getresponse()
            body = answer.read()
            assert answer.status == 200, (path, answer.status, body[:500])
            return body
        finally:
            connection.close()

    def post(self, path: str, values: dict) -> dict:
        """POST JSON and return the JSON answer."""
        connection = self._connection()
        try:
            connection.request("POST", path, json.dumps(values), {"Content-Type": "application/json"})
            answer = connection.getresponse()
            body = answer.read()
            assert answer.status in (200, 201), (path, answer.status, body[:500])
            return json.loads(body)
        finally:
            connection.close()

    def stream(self, timeout_s: float) -> Iterator[tuple[str, dict]]:
        """Yield server-sent events as ``(kind, data)`` until the time is up."""
        connection = self._connection()
        deadline = time.monotonic() + timeout_s
        try:
            connection.request("GET", "/api/stream", headers={"Accept": "text/event-stream"})
            answer = connection.getresponse()
            assert answer.status == 200, answer.status
            kind = ""
            while time.monotonic() < deadline:
                line = answer.readline().decode()
                if not line:
                    return
                if line.startswith("event:"):
                    kind = line[6:].strip()
                elif line.startswith("data:"):
                    yield kind, json.loads(line[5:])
        finally:
            connection.close()

    def _connection(self) -> http.client.HTTPConnection:
        parts = urlsplit(self.url)
        return http.client.HTTPConnection(parts.hostname, parts.port, timeout=20)

    def kill(self) -> None:
        """End it at once, as a pulled plug would."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(10)

    def stop(self, timeout_s: float = 30.0) -> int:
        """End it as systemd would and return the exit status."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        status = self.process.wait(timeout_s)
        self._reader.join(5)
        return status

    def __enter__(self) -> "ListenProcess":
        return self

    def __exit__(self, *failure) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(10)
