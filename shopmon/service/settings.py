"""What the monitor needs to start, read from a TOML file that the program never writes."""

import os
import tomllib
from dataclasses import dataclass, field, fields
from difflib import get_close_matches
from pathlib import Path
from types import MappingProxyType
from typing import Any

from shopmon.errors import SettingError

PORT = 8137
KINDS = ("mic", "demo", "recording", "board", "iio", "tach")
GIGABYTE = 10**9


@dataclass(frozen=True, kw_only=True)
class Machine:
    """Limits of the milling machine's spindle."""

    name: str = "my mill"
    min_rpm: float = 500.0
    max_rpm: float = 30_000.0

    def __post_init__(self):
        _check(
            0 < self.min_rpm < self.max_rpm <= 200_000,
            "machine.min_rpm and machine.max_rpm",
            (self.min_rpm, self.max_rpm),
        )


@dataclass(frozen=True, kw_only=True)
class SourceSettings:
    """One named input: ``shopmon listen --source NAME``."""

    kind: str = "mic"
    device: str | None = None
    sample_rate_hz: float | None = None
    channels: int | None = None
    sensor: str = "microphone"
    path: str | None = None
    gpio_pin: int | None = None

    def __post_init__(self):
        _check(self.kind in KINDS, "sources.NAME.kind", self.kind)
        _check(self.sensor in ("microphone", "accelerometer"), "sources.NAME.sensor", self.sensor)
        _check(
            self.sample_rate_hz is None or 1000 <= self.sample_rate_hz <= 768_000,
            "sample_rate_hz",
            self.sample_rate_hz,
        )
        _check(self.channels is None or 1 <= self.channels <= 64, "channels", self.channels)


@dataclass(frozen=True, kw_only=True)
class Network:
    """Where the pages are served."""

    lan: bool = False
    port: int = PORT

    def __post_init__(self):
        _check(0 <= self.port <= 65_535, "network.port", self.port)


@dataclass(frozen=True, kw_only=True)
class Storage:
    """What is kept on disk and how much of it."""

    data_dir: str | None = None
    buffer_minutes: float = 10.0
    budget_gb: float = 20.0
    keep_audio: bool = True

    def __post_init__(self):
        _check(0 <= self.buffer_minutes <= 24 * 60, "storage.buffer_minutes", self.buffer_minutes)
        _check(self.budget_gb >= 0, "storage.budget_gb", self.budget_gb)

    @property
    def budget_bytes(self) -> int:
        """Disk budget for audio, in bytes."""
        return int(self.budget_gb * GIGABYTE)


@dataclass(frozen=True, kw_only=True)
class Screen:
    """How figures are shown."""

    units: str = "metric"

    def __post_init__(self):
        _check(self.units in ("metric", "inch"), "screen.units", self.units)


@dataclass(frozen=True, kw_only=True)
class Lamp:
    """An optional lamp on a GPIO pin; None means there is none."""

    gpio_pin: int | None = None


@dataclass(frozen=True, kw_only=True)
class Listening:
    """How the sound is turned into cuts."""

    cut_gap_s: float = 3.0

    def __post_init__(self):
        _check(0.1 <= self.cut_gap_s <= 600, "listening.cut_gap_s", self.cut_gap_s)


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Everything in the settings file."""

    machine: Machine = field(default_factory=Machine)
    sources: MappingProxyType[str, SourceSettings] = field(default_factory=lambda: MappingProxyType({}))
    network: Network = field(default_factory=Network)
    storage: Storage = field(default_factory=Storage)
    screen: Screen = field(default_factory=Screen)
    lamp: Lamp = field(default_factory=Lamp)
    listening: Listening = field(default_factory=Listening)


def default_settings_path() -> Path:
    """``$SHOPMON_SETTINGS``, else the user's configuration folder."""
    if named := os.environ.get("SHOPMON_SETTINGS"):
        return Path(named)
    base = os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config"
    return Path(base) / "shopmon" / "settings.toml"


def default_data_dir() -> Path:
    """``$SHOPMON_DATA``, else the user's data folder."""
    if named := os.environ.get("SHOPMON_DATA"):
        return Path(named)
    base = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(base) / "shopmon"


def load_settings(path: Path | None = None) -> Settings:
    """Read the settings file.

    Parameters
    ----------
    path
        The file; None takes the default place, where a missing file means all defaults.

    Raises
    ------
    SettingError
        The file is missing (when named), is no TOML, or holds an unknown key or an impossible value.
    """
    named = path or default_settings_path()
    try:
        text = named.read_text(encoding="utf-8")
    except FileNotFoundError:
        if path is None and "SHOPMON_SETTINGS" not in os.environ:
            return Settings()
        raise SettingError(
            f"The settings file {named} does not exist.", "Check the path, or leave --settings out."
        ) from None
    except (OSError, UnicodeDecodeError) as exc:
        raise SettingError(
            f"The settings file {named} cannot be read: {exc}.", "Check its permissions."
        ) from None
    try:
        return settings_from(tomllib.loads(text))
    except tomllib.TOMLDecodeError as exc:
        raise SettingError(
            f"The settings file {named} is not valid TOML: {exc}.", "Mend that line."
        ) from None
    except SettingError as exc:
        raise SettingError(f"{named}: {exc.text}", exc.hint) from None


def settings_from(data: dict[str, Any]) -> Settings:
    """Build the settings from parsed TOML, refusing whatever is not understood."""
    tables = {f.name: f for f in fields(Settings)}
    _refuse_unknown(data, tables, "table")
    made: dict[str, Any] = {}
    for name, table in data.items():
        if not isinstance(table, dict):
            raise SettingError(f"'{name}' should be a table like [{name}].", "See the example in README.md.")
        if name == "sources":
            made[name] = MappingProxyType(
                {key: _fill(SourceSettings, row, f"sources.{key}") for key, row in table.items()}
            )
        else:
            made[name] = _fill(tables[name].type, table, name)
    return Settings(**made)


def _fill(kind: type, table: Any, where: str):
    if not isinstance(table, dict):
        raise SettingError(f"'{where}' should be a table like [{where}].", "See the example in README.md.")
    known = {f.name: f for f in fields(kind)}
    _refuse_unknown(table, known, "key", where)
    for key, value in table.items():
        _check_type(known[key].type, value, f"{where}.{key}")
    return kind(**table)


def _check_type(wanted: Any, value: Any, name: str) -> None:
    allowed = tuple(getattr(wanted, "__args__", (wanted,)))
    if float in allowed:
        allowed += (int,)
    if (isinstance(value, bool) and bool not in allowed) or not isinstance(value, allowed):
        kinds = " or ".join(kind.__name__ for kind in allowed if kind is not type(None))
        raise SettingError(f"{name} = {value!r} should be of kind {kinds}.", "Mend that line.")


def _refuse_unknown(data: dict, known: dict, what: str, where: str = "") -> None:
    for name in data:
        if name not in known:
            close = get_close_matches(name, known, n=1)
            hint = f"Did you mean '{close[0]}'?" if close else f"Known here: {', '.join(known)}."
            raise SettingError(f"Unknown {what} '{where + '.' if where else ''}{name}'.", hint)


def _check(good: bool, name: str, value: Any) -> None:
    if not good:
        raise SettingError(f"{name} = {value!r} is out of range.", "Mend that line of the settings file.")
