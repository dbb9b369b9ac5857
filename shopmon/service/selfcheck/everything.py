"""Self-check: everything the monitor needs, looked at without disturbing one that runs.

Each check returns findings and never raises; what a check cannot find out, it says nothing about.
"""

import http.client
import json
import os
import re
import shutil
import socket
import sqlite3
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

import sqlalchemy as sa

from shopmon.errors import SettingError, ShopmonError
from shopmon.records import database
from shopmon.records.folder import DATABASE_NAME
from shopmon.service import clock
from shopmon.service.selfcheck import computer, sound, wired
from shopmon.service.selfcheck.finding import Finding
from shopmon.service.settings import (
    Settings,
    default_data_dir,
    default_settings_path,
    load_settings,
)

GIGABYTE = 10**9
LEAST_FREE, LITTLE_FREE = 0.3 * GIGABYTE, 3 * GIGABYTE
# one microphone at 48 kHz and 16 bit; FLAC keeps about 0.7 of it (measured on a noisy tone)
BYTES_PER_HOUR = 0.7 * 2 * 48_000 * 3600


@dataclass(frozen=True, kw_only=True)
class Question:
    """What is to be checked; None where nobody said."""

    settings_file: Path | None = None
    data_dir: Path | None = None
    port: int | None = None


def run_checks(question: Question) -> list[Finding]:
    """Run all the checks in the order in which their findings are best mended."""
    settings, findings = check_settings(question.settings_file)
    data_dir = question.data_dir or Path(settings.storage.data_dir or default_data_dir()).expanduser()
    port = settings.network.port if question.port is None else question.port
    checks: tuple[Callable[[], list[Finding]], ...] = (
        lambda: [computer.check_python()],
        check_packages,
        lambda: findings,
        lambda: [check_data_folder(data_dir, settings.storage.budget_bytes)],
        lambda: computer.check_storage(data_dir),
        lambda: check_database(data_dir / DATABASE_NAME),
        lambda: sound.check_sound(settings),
        lambda: wired.check_wired(settings),
        lambda: [check_clock()],
        lambda: [check_port(port)],
        computer.check_power,
    )
    return [finding for check in checks for finding in check()]


def check_settings(path: Path | None) -> tuple[Settings, list[Finding]]:
    """Read the settings file; with a bad one, go on with the settings everybody starts with."""
    try:
        settings = load_settings(path)
    except SettingError as exc:
        return Settings(), [Finding(name="settings", verdict="wrong", text=exc.text, hint=exc.hint)]
    place = path or default_settings_path()
    text = f"The settings file {place} is good." if place.exists() else "No settings file; none is needed."
    return settings, [Finding(name="settings", verdict="ok", text=text)]


def check_packages(needed: list[str] | None = None) -> list[Finding]:
    """Compare the installed Python packages with what this program says it needs."""
    lines = metadata.requires("shopmon") if needed is None else needed
    wanted = [line for line in lines or [] if "extra ==" not in line]
    bad = [trouble for line in wanted if (trouble := _package_trouble(line))]
    if bad:
        hint = "Install shopmon again: delete the folder .venv and run start.py once more."
        return [Finding(name="packages", verdict="wrong", text=" ".join(bad), hint=hint)]
    shown = ", ".join(f"{name} {metadata.version(name)}" for name in ("numpy", "scipy"))
    text = f"All {len(wanted)} Python packages are there, among them {shown}."
    return [Finding(name="packages", verdict="ok", text=text)]


def _package_trouble(line: str) -> str:
    name = re.match(r"[A-Za-z0-9._-]+", line).group()
    try:
        version = metadata.version(name)
    except metadata.PackageNotFoundError:
        return f"{name} is missing."
    least = re.search(r">=\s*([0-9.]+)", line)
    below = re.search(r"<\s*([0-9.]+)", line)
    too_old = least and _numbers(version) < _numbers(least.group(1))
    too_new = below and _numbers(version) >= _numbers(below.group(1))
    return f"{name} {version} is too {'old' if too_old else 'new'}." if too_old or too_new else ""


def _numbers(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in re.match(r"[0-9.]+", version).group().strip(".").split("."))


def check_data_folder(folder: Path, budget_bytes: int) -> Finding:
    """See whether the data folder can be written and how much room it has; makes no folder."""
    place = computer.nearest_existing(folder)
    try:
        with tempfile.TemporaryFile(dir=place):
            pass
    except OSError as exc:
        return Finding(
            name="data folder",
            verdict="wrong",
            text=f"The data folder {folder} cannot be written ({exc.strerror}).",
            hint="Give a folder that you may write with --data DIR, or mend its permissions.",
        )
    return room_finding(folder, shutil.disk_usage(place).free, budget_bytes)


def room_finding(folder: Path, free_bytes: float, budget_bytes: float) -> Finding:
    """Judge the free space, and say how many hours of sound there is room for."""
    hours = min(free_bytes, budget_bytes) / BYTES_PER_HOUR
    room = f"{free_bytes / GIGABYTE:.1f} GB are free. Sound of about {hours:.0f} hours can be kept."
    text, hint = (
        f"{folder} can be written, and {room}",
        "Make room, or give a folder on a larger disk with --data DIR.",
    )
    if free_bytes < LEAST_FREE:
        return Finding(name="data folder", verdict="wrong", text=text, hint=hint)
    if free_bytes < LITTLE_FREE:
        return Finding(name="data folder", verdict="look", text=text, hint=hint)
    return Finding(name="data folder", verdict="ok", text=text)


def check_database(path: Path) -> list[Finding]:
    """Open the database for reading and look at its version; a running monitor does not notice."""
    if not path.exists():
        return [
            Finding(name="database", verdict="ok", text="There is no log yet; the first start makes one.")
        ]
    try:
        version = _read_version(path)
    except (sa.exc.DatabaseError, sqlite3.DatabaseError, ShopmonError) as exc:
        reason = getattr(exc, "orig", None) or exc
        hint = f"Restore a copy from {path.parent / 'backups'}, or move the file away to begin a new log."
        text = f"The log {path} cannot be read ({reason})."
        return [Finding(name="database", verdict="wrong", text=text, hint=hint)]
    return [version_finding(version)]


def _read_version(path: Path) -> str | None:
    engine = database.open_reader(path)
    try:
        with engine.connect() as connection:
            return database.schema_version(connection)
    finally:
        engine.dispose()


def version_finding(version: str | None) -> Finding:
    """Judge the schema version found in the database."""
    if version is not None and version not in database.REVISIONS:
        return Finding(
            name="database",
            verdict="wrong",
            text=f"The log was written by a newer shopmon (its version is {version}).",
            hint="Update shopmon, or give another folder with --data DIR.",
        )
    if version != database.REVISIONS[-1]:
        text = "The log is of an older version; the next start brings it up to date and keeps a copy."
        return Finding(name="database", verdict="ok", text=text)
    return Finding(name="database", verdict="ok", text=f"The log opens; its version is {version}.")


def check_clock() -> Finding:
    """See whether the wall clock can be believed."""
    origin = clock.trusted_clock()
    if origin is None:
        return Finding(
            name="clock",
            verdict="look",
            text="The clock is not set; cuts are logged in order but without a date.",
            hint="Connect the network once, fit a clock chip, or confirm the time on a paired phone.",
        )
    if origin == "network":
        return Finding(name="clock", verdict="ok", text="The clock is set by the network.")
    return Finding(name="clock", verdict="ok", text="The clock is set; the network does not check it now.")


def check_port(port: int) -> Finding:
    """See whether the pages' port is free, or a monitor answers on it."""
    if port == 0:
        return Finding(name="port", verdict="ok", text="The pages take any free port.")
    health = ask_health(port)
    if health is not None:
        return health_finding(port, health)
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        # as a server binds: the remains of an ended one are no hindrance
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as exc:
            text = f"Port {port} cannot be used for the pages ({os.strerror(exc.errno)})."
            hint = "Give another with --port, for example --port 8200."
            return Finding(name="port", verdict="wrong", text=text, hint=hint)
    return Finding(name="port", verdict="ok", text=f"Port {port} is free; no monitor is running on it.")


def ask_health(port: int, timeout_s: float = 3.0) -> dict | None:
    """Ask a monitor on this computer how it is; None when none answers."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=timeout_s)
    try:
        connection.request("GET", "/api/health")
        answer = json.loads(connection.getresponse().read(100_000))
    except (OSError, http.client.HTTPException, ValueError):
        return None
    finally:
        connection.close()
    return answer if isinstance(answer, dict) and "ok" in answer else None


def health_finding(port: int, health: dict) -> Finding:
    """Judge what a running monitor says of itself."""
    if health["ok"]:
        return Finding(name="port", verdict="ok", text=f"A monitor is running: http://127.0.0.1:{port}")
    return Finding(
        name="port",
        verdict="wrong",
        text=f"The monitor on port {port} serves its pages, but does not listen any more.",
        hint="Start it again; its log says why.",
    )
