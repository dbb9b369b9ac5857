"""Run as ``python -m tests.bench.detector``."""

import argparse

from tests.bench.detector import corpus


def main():
    """Read the command line and do what it says."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.detector", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    draw = commands.add_parser("draw", help="draw cases into a folder")
    draw.add_argument("folder")
    draw.add_argument("--family", default="A")
    draw.add_argument("--first", type=int, default=0)
    draw.add_argument("--count", type=int, default=200)
    draw.add_argument("--sensors", type=int, choices=(1, 2), default=1)
    given = parser.parse_args()
    if given.command == "draw":
        corpus.draw(given.folder, given.family, given.first, given.count, given.sensors)


if __name__ == "__main__":
    main()
