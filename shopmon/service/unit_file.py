"""The systemd unit that starts the monitor with the machine: text only, nothing is installed from here."""

import grp
from dataclasses import dataclass
from pathlib import Path

from shopmon.capture.factory import is_path
from shopmon.errors import SettingError

# sound cards and GPIO pins; a unit naming a group that does not exist would not start at all
GROUPS = ("audio", "gpio")

TEXT = """\
# The systemd unit of shopmon. It starts the monitor when the computer starts, and again if it ever stops.
#
# To install it, send this text to its place:
#   {itself} | sudo tee /etc/systemd/system/shopmon.service
# then switch it on, now and at every start:
#   sudo systemctl daemon-reload
#   sudo systemctl enable --now shopmon
# See how it is:        systemctl status shopmon
# Read what it says:    journalctl -u shopmon -f
# Switch it off again:  sudo systemctl disable --now shopmon

[Unit]
Description=shopmon, the monitor that listens to the mill
After=sound.target network.target
{mounts}StartLimitIntervalSec=0

[Service]
Type=exec
User={user}
{groups}ExecStart={command}
Environment=PYTHONUNBUFFERED=1
Restart=always
RestartSec=2
TimeoutStopSec=30
# sound first: other work waits for it, not the other way round
Nice=-5
OOMScoreAdjust=-200

# What it cannot need it may not have. PrivateDevices, ProtectClock and DevicePolicy are left out because
# they hide the sound card; MemoryDenyWriteExecute, because PortAudio calls back into Python.
NoNewPrivileges=yes
ProtectSystem=full
PrivateTmp=yes
ProtectKernelTunables=yes
ProtectKernelModules=yes
ProtectKernelLogs=yes
ProtectControlGroups=yes
RestrictNamespaces=yes
RestrictSUIDSGID=yes
LockPersonality=yes
SystemCallArchitectures=native
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6 AF_NETLINK

[Install]
WantedBy=multi-user.target
"""


@dataclass(frozen=True, kw_only=True)
class UnitOptions:
    """What the service is to be started with.

    Attributes
    ----------
    user
        Who it runs as.
    interpreter
        The Python that has shopmon installed.
    sources, device, data_dir, settings_file, lan, port
        As for ``shopmon listen``; None where nothing was said.
    """

    user: str
    interpreter: Path
    sources: tuple[str, ...] = ()
    device: str | None = None
    data_dir: Path | None = None
    settings_file: Path | None = None
    lan: bool = False
    port: int | None = None

    def listen_arguments(self) -> list[str]:
        """Return the words after ``shopmon``, every path absolute: a service starts in another folder."""
        words = ["listen"]
        for source in self.sources:
            words += ["--source", _absolute(Path(source)) if is_path(source) else source]
        words += ["--device", self.device] if self.device is not None else []
        words += ["--data", _absolute(self.data_dir)] if self.data_dir else []
        words += ["--settings", _absolute(self.settings_file)] if self.settings_file else []
        words += ["--lan"] if self.lan else []
        return words + (["--port", str(self.port)] if self.port is not None else [])


def unit_text(options: UnitOptions, itself: str, groups: tuple[str, ...]) -> str:
    """Write the unit.

    Parameters
    ----------
    options
        What the service is to be started with.
    itself
        The command line that printed the unit, for the instructions inside it.
    groups
        The supplementary groups, see `existing_groups`.

    Raises
    ------
    SettingError
        A value holds a character that a unit file cannot.
    """
    command = [_absolute(options.interpreter), "-m", "shopmon", *options.listen_arguments()]
    mounts = f"RequiresMountsFor={quoted(_absolute(options.data_dir))}\n" if options.data_dir else ""
    return TEXT.format(
        itself=_one_line(itself),
        mounts=mounts,
        user=_one_line(options.user),
        groups=f"SupplementaryGroups={' '.join(groups)}\n" if groups else "",
        command=" ".join(quoted(word, in_command=True) for word in command),
    )


def existing_groups(wanted: tuple[str, ...] = GROUPS) -> tuple[str, ...]:
    """Return those of the groups that this machine has."""
    there = {entry.gr_name for entry in grp.getgrall()}
    return tuple(name for name in wanted if name in there)


def quoted(word: str, *, in_command: bool = False) -> str:
    r"""Write a word so that systemd reads it back unchanged (systemd.syntax(7), systemd.service(5)).

    Examples
    --------
    >>> quoted("listen")
    'listen'
    >>> quoted("USB mic 50%")
    '"USB mic 50%%"'
    >>> quoted("$HOME", in_command=True)
    '$$HOME'
    """
    text = _one_line(word).replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
    if in_command:
        text = text.replace("$", "$$")
    plain = text and not any(character in text for character in " '\"\\;")
    return text if plain else f'"{text}"'


def _one_line(text: str) -> str:
    if any(not character.isprintable() for character in text):
        raise SettingError(
            f"{text!r} cannot stand in a unit file.", "Use a name without line breaks and control characters."
        )
    return text


def _absolute(path: Path) -> str:
    # not resolved: the interpreter of a virtual environment is a link that must stay one
    return str(path.expanduser().absolute())
