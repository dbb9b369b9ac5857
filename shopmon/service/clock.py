"""Whether the wall clock can be believed: a Pi without a clock chip wakes up with yesterday's time."""

import ctypes
import time
from pathlib import Path

STA_UNSYNC = 0x0040
BUILT_AFTER_S = 1_767_225_600  # 2026-01-01: an earlier time is a clock that was never set


class _Timex(ctypes.Structure):
    # only the leading fields matter; the kernel writes the rest into the padding
    _fields_ = [
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("padding", ctypes.c_char * 256),
    ]


def network_time() -> bool:
    """Return True when the kernel says its clock is disciplined by a time service (adjtimex, read only)."""
    try:
        libc = ctypes.CDLL(None, use_errno=True)
        state = _Timex()
        return libc.adjtimex(ctypes.byref(state)) >= 0 and not state.status & STA_UNSYNC
    except (OSError, AttributeError):
        return False


def is_raspberry_pi() -> bool:
    """Return True on a Raspberry Pi, which has no battery-backed clock of its own before the Pi 5."""
    try:
        return "Raspberry Pi" in Path("/proc/device-tree/model").read_text(errors="replace")
    except OSError:
        return False


def trusted_clock() -> str | None:
    """Name what makes the wall clock believable now, or None when nothing does.

    Returns
    -------
    str or None
        ``"network"``, ``"clock chip"`` or None.
    """
    if time.time() < BUILT_AFTER_S:
        return None
    if network_time():
        return "network"
    if not is_raspberry_pi() or Path("/dev/rtc0").exists():
        return "clock chip"
    return None
