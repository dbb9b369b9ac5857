"""Self-check of the computer: processor, power supply, storage; reads only what the kernel says."""

import os
import platform
import shutil
import subprocess
import sys
from pathlib import Path

from shopmon.service.selfcheck.finding import Finding

OLDEST, TOO_NEW = (3, 11), (3, 14)
# bits of `vcgencmd get_throttled`, from the Raspberry Pi documentation of vcgencmd
NOW = {0: "the supply voltage is too low", 2: "the processor is slowed down", 3: "the processor is hot"}
SINCE_START = {16: "the supply voltage was too low", 18: "the processor was slowed down"}
SUPPLY_HINT = "Use the power supply made for this Raspberry Pi and a short, thick cable."
HOT_HINT = "Give the Raspberry Pi air or a heat sink, away from chips and coolant."


def check_python(
    version: tuple[int, int] = sys.version_info[:2], bits64: bool = sys.maxsize > 2**32
) -> Finding:
    """Look at Python's version and word length."""
    text = f"Python {version[0]}.{version[1]}, {'64' if bits64 else '32'} bit, on {platform.machine()}."
    if not bits64:
        hint = "Use a 64-bit system; on a Raspberry Pi, the 64-bit Raspberry Pi OS."
        return Finding(name="python", verdict="wrong", text=text, hint=hint)
    if not OLDEST <= version < TOO_NEW:
        return Finding(name="python", verdict="wrong", text=text, hint="Use Python 3.11, 3.12 or 3.13.")
    return Finding(name="python", verdict="ok", text=text)


def check_power() -> list[Finding]:
    """Ask a Raspberry Pi whether its supply holds up; nothing on any other computer."""
    if shutil.which("vcgencmd") is None:
        return []
    try:
        done = subprocess.run(["vcgencmd", "get_throttled"], capture_output=True, text=True, timeout=10)
        bits = int(done.stdout.strip().partition("=")[2], 16)
    except (OSError, ValueError, subprocess.TimeoutExpired):
        return [
            Finding(
                name="power",
                verdict="look",
                text="This Raspberry Pi does not say how its power supply is.",
                hint="Try 'vcgencmd get_throttled'; the user may have to be in the group 'video'.",
            )
        ]
    return [power_finding(bits)]


def power_finding(bits: int) -> Finding:
    """Judge the number that ``vcgencmd get_throttled`` gives."""
    now = [text for bit, text in NOW.items() if bits >> bit & 1]
    past = [text for bit, text in SINCE_START.items() if bits >> bit & 1]
    if not now and not past:
        return Finding(name="power", verdict="ok", text="The power supply has held up since the start.")
    said = "; ".join(now or past)
    text = f"{said[0].upper()}{said[1:]}{'.' if now else ' some time since the start.'}"
    low_voltage = bits & (1 << 0 | 1 << 16)
    return Finding(
        name="power",
        verdict="wrong" if bits & 1 else "look",
        text=text,
        hint=SUPPLY_HINT if low_voltage else HOT_HINT,
    )


def check_storage(folder: Path, sys_folder: Path = Path("/sys")) -> list[Finding]:
    """Say what kind of storage `folder` lies on, where the kernel knows."""
    device = os.stat(nearest_existing(folder)).st_dev
    number = f"{os.major(device)}:{os.minor(device)}"
    return storage_findings(sys_folder / "dev" / "block" / number, _file_system(number))


def storage_findings(block: Path, file_system: str | None) -> list[Finding]:
    """Judge a block device by its place under ``/sys``, and a file system without one by its kind."""
    if file_system in ("tmpfs", "ramfs"):
        hint = "Give a folder on a disk with --data DIR."
        return [
            Finding(
                name="storage",
                verdict="wrong",
                text="The data folder is lost when the power goes.",
                hint=hint,
            )
        ]
    if not block.exists():
        return []
    place = block.resolve()
    disk = place if (place / "queue").exists() else place.parent
    # the same driver serves memory cards ("SD") and chips soldered in ("MMC")
    if disk.name.startswith("mmcblk") and _read(disk / "device" / "type") != "MMC":
        hint = "Recording wears a card out; keep the data on an SSD if you can: --data DIR."
        return [
            Finding(name="storage", verdict="look", text="The data folder is on a memory card.", hint=hint)
        ]
    spinning = _read(disk / "queue" / "rotational") == "1"
    kind = "a hard disk" if spinning else "solid-state storage"
    return [Finding(name="storage", verdict="ok", text=f"The data folder is on {kind} ({disk.name}).")]


def nearest_existing(folder: Path) -> Path:
    """Return `folder`, or the nearest folder above it that exists."""
    folder = folder.expanduser().absolute()
    while not folder.exists():
        folder = folder.parent
    return folder


def _file_system(number: str) -> str | None:
    for line in (_read(Path("/proc/self/mountinfo")) or "").splitlines():
        words = line.split()
        if words[2] == number:
            return words[words.index("-") + 1]
    return None


def _read(path: Path) -> str | None:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return None
