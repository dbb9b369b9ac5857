#!/usr/bin/env python3
"""Set up and run all the tests: ``python3 tests/everything.py``.

Needs nothing but Python's own library. The environment goes into ``.venv-test``; system packages that some
tests need are installed where that is allowed, and said plainly where it is not. Arguments are handed on to
pytest, except:

    --strict              a skipped test is a failure (only missing reference recordings may skip)
    --no-system-packages  install no system packages
"""

import ctypes.util
import importlib
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))
start = importlib.import_module("start")  # beside README.md, out of the path of a script in a sub-folder

MICROPHONE = "tests of the microphone (a virtual one, heard through PortAudio)"
BROWSER = "tests of the pages in a browser"


def there(path):
    """Return a question that asks whether a file is there."""
    return Path(path).exists


# Debian's package: how to see that what it brings is there, and what is skipped without it
NEEDS = {
    "libportaudio2": (lambda: ctypes.util.find_library("portaudio"), MICROPHONE),
    "libasound2-data": (there("/usr/share/alsa/alsa.conf"), MICROPHONE),
    "chromium": (there("/usr/bin/chromium"), BROWSER),
    "fonts-dejavu-core": (there("/usr/share/fonts/truetype/dejavu"), BROWSER),
}


def missing():
    """Return the Debian packages whose part is not there."""
    return [name for name, (found, _) in NEEDS.items() if not found()]


def provide_system_parts(allowed):
    """Install what is missing where that is allowed, and say what stays missing and what follows from it."""
    if allowed:
        start.install_system_packages(missing())
    still = missing()
    if not still:
        return
    print("\nThese parts of the system are not there, and could not be installed from here:")
    for name in still:
        print(f"  {name:20} without it are skipped: {NEEDS[name][1]}")
    print(f"To have them:  sudo apt install {' '.join(still)}\n", flush=True)


def main(arguments):
    """Prepare everything, run pytest, return its exit status."""
    own = {"--strict", "--no-system-packages"} & set(arguments)
    handed_on = [argument for argument in arguments if argument not in own]
    try:
        start.check_python()
        provide_system_parts("--no-system-packages" not in own)
        programs = start.prepare(ROOT / ".venv-test", ".[test]")
    except start.SetupError as exc:
        print(f"everything.py: {exc}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("everything.py: stopped before everything was set up.", file=sys.stderr)
        return 130
    command = [str(programs / "python"), "-m", "pytest", "-p", "tests.skip_report"]
    command += ["--skips-fail"] if "--strict" in own else []
    return subprocess.run([*command, *handed_on], cwd=ROOT).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
