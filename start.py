#!/usr/bin/env python3
"""Set shopmon up in this folder the first time, and run it: ``python3 start.py listen --source demo``.

Needs nothing but Python's own library. What it makes goes into the folder ``.venv`` beside this file;
delete that folder to be rid of it. Later calls start at once, unless the needed packages have changed since.
"""

import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent
OLDEST, TOO_NEW = (3, 11), (3, 14)
STAMP = "shopmon-installed"


class SetupError(Exception):
    """Setting up cannot go on; the text says why and what to do."""


def check_python(version=sys.version_info[:2], bits64=sys.maxsize > 2**32):
    """Refuse a Python that the numerical packages do not come for.

    Raises
    ------
    SetupError
        The version is not 3.11 to 3.13, or this is a 32-bit system.
    """
    if not OLDEST <= version < TOO_NEW:
        raise SetupError(
            f"This is Python {version[0]}.{version[1]}; shopmon needs Python 3.11, 3.12 or 3.13. "
            "Install one of these and start again with it, for example: "
            "python3.13 start.py listen --source demo"
        )
    if not bits64:
        raise SetupError(
            "This is a 32-bit system, and the packages shopmon needs are made for 64-bit systems only. "
            "On a Raspberry Pi, install the 64-bit Raspberry Pi OS."
        )


def administrator():
    """Return the words that go before a command for the administrator, None where that is not allowed.

    Never asks for a password: setting up must not hang on a question that nobody sees.
    """
    if os.geteuid() == 0:
        return []
    if shutil.which("sudo") and subprocess.run(["sudo", "-n", "true"], capture_output=True).returncode == 0:
        return ["sudo", "-n"]
    return None


def install_system_packages(names):
    """Install Debian packages where that is possible and allowed; return those still not installed."""
    before = administrator()
    if not names or before is None or not shutil.which("apt-get"):
        return list(names)
    print(f"Installing parts of the system: {', '.join(names)}", flush=True)
    before = [*before, "env", "DEBIAN_FRONTEND=noninteractive", "apt-get", "-q"]
    # a stale list is better than none: what is missing afterwards is said anyway
    _quietly([*before, "update"])
    install = [*before, "install", "-y", "--no-install-recommends"]
    if _quietly([*install, *names]):
        return []
    # one name unknown here spoils the whole call, so each gets its own chance
    return [name for name in names if not _quietly([*install, name])]


def _quietly(command):
    """Run a command that asks nothing and shows only its complaints; return whether it succeeded."""
    done = subprocess.run(command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    return done.returncode == 0


def make_environment(folder):
    """Make a virtual environment in `folder`, anew if there is a broken one.

    Raises
    ------
    SetupError
        Debian's part of Python that makes environments is absent and may not be installed from here.
    """
    if importlib.util.find_spec("ensurepip") is None:
        name = f"python{sys.version_info[0]}.{sys.version_info[1]}-venv"
        if install_system_packages([name]):
            raise SetupError(
                f"This Python cannot make a virtual environment yet. Type this and start again: "
                f"sudo apt install {name}"
            )
    command = [sys.executable, "-m", "venv", "--clear", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode != 0:
        reason = (done.stdout + done.stderr).strip()
        raise SetupError(f"No virtual environment could be made in {folder}: {reason}")


def fingerprint(what):
    """Return a text that changes when the environment has to be made again."""
    digest = hashlib.sha256()
    for part in (ROOT / "pyproject.toml", ROOT / "setup.py"):
        digest.update(part.read_bytes())
    digest.update(repr((str(ROOT), what, sys.version, sys.prefix)).encode())
    return digest.hexdigest()


def prepare(folder, what="."):
    """Make the environment `folder` hold shopmon and all that it needs; return its ``bin`` folder.

    Parameters
    ----------
    folder : Path
        The environment's folder.
    what : str
        What to install, ``"."`` or ``".[test]"``; as a link to this folder, so that an update counts at once.

    Raises
    ------
    SetupError
        It did not work; the text says what to do.
    """
    check_python()
    programs, stamp, wanted = folder / "bin", folder / STAMP, fingerprint(what)
    if stamp.is_file() and stamp.read_text() == wanted and (programs / "python").exists():
        return programs
    print(f"Setting up in {folder}. The first time takes a few minutes and needs the internet.", flush=True)
    make_environment(folder)
    pip = [str(programs / "python"), "-m", "pip", "--disable-pip-version-check", "install", "--quiet"]
    if subprocess.run([*pip, "--editable", what], cwd=ROOT, stdin=subprocess.DEVNULL).returncode != 0:
        raise SetupError("The packages could not be installed; the reason is above. Is the internet reached?")
    stamp.write_text(wanted)
    return programs


def main():
    """Set up if need be and become the program."""
    try:
        programs = prepare(ROOT / ".venv")
    except SetupError as exc:
        print(f"start.py: {exc}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("start.py: stopped before everything was set up; start again to go on.", file=sys.stderr)
        return 130
    os.execv(str(programs / "shopmon"), ["shopmon", *(sys.argv[1:] or ["--help"])])


if __name__ == "__main__":
    sys.exit(main())
