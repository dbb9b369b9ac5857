"""Run the benchmarks, each in a process of its own: ``python tests/bench/run.py [TOPIC …]``.

A benchmark is a file ``bench_<topic>.py`` with a ``main()`` that prints a table. Nothing is asserted about
speed; the exit status says only whether each of them ran to its end.
"""

import os
import platform
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent


def topics():
    """Return the topics there are benchmarks for."""
    return [file.stem.removeprefix("bench_") for file in sorted(HERE.glob("bench_*.py"))]


def run(topic):
    """Run one benchmark; return whether it came to its end."""
    print(f"\n== {topic} ==", flush=True)
    code = f"from tests.bench import bench_{topic} as bench; bench.main()"
    return subprocess.run([sys.executable, "-c", code], cwd=ROOT).returncode == 0


def main(wanted):
    """Run the wanted benchmarks, all of them when none is named; say which did not end well."""
    if unknown := set(wanted) - set(topics()):
        print(f"No benchmark is called {', '.join(sorted(unknown))}. There are: {', '.join(topics())}")
        return 2
    print(f"Python {platform.python_version()} on {platform.machine()}, {os.cpu_count()} cores")
    failed = [topic for topic in wanted or topics() if not run(topic)]
    if failed:
        print(f"\nDid not come to their end: {', '.join(failed)}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
