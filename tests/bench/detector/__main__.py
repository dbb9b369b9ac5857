"""Run as ``python -m tests.bench.detector draw|score|look …``.

Typical: draw three families to tune on and two to report on, then score them.

    python -m tests.bench.detector draw corpus/train --family A --first 0 --count 120
    python -m tests.bench.detector score corpus/train --told unknown
    python -m tests.bench.detector look corpus/train 17
"""

import argparse

from tests.bench.detector import corpus, running
from tests.bench.detector.families import FAMILIES
from tests.bench.detector.hearing import TOLD


def commands():
    """Build the reader of the command line."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.detector",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    names = parser.add_subparsers(dest="command", required=True)
    draw = names.add_parser("draw", help="draw cases into a folder")
    draw.add_argument("folder")
    draw.add_argument("--family", choices=sorted(FAMILIES), default="A")
    draw.add_argument("--first", type=int, default=0)
    draw.add_argument("--count", type=int, default=200)
    draw.add_argument("--sensors", type=int, choices=(1, 2), default=1)
    score = names.add_parser("score", help="listen to a folder and print the tables")
    score.add_argument("folder")
    score.add_argument("--told", choices=TOLD, default="as-drawn")
    score.add_argument("--only", help="a kind, sensor or tag")
    score.add_argument("--jobs", type=int, default=1)
    look = names.add_parser("look", help="print what was heard of one case, frame by frame")
    look.add_argument("folder")
    look.add_argument("number", type=int)
    look.add_argument("--told", choices=TOLD, default="as-drawn")
    return parser


def main():
    """Read the command line and do what it says."""
    given = vars(commands().parse_args())
    does = {"draw": corpus.draw, "score": running.score, "look": running.look}
    does[given.pop("command")](**given)


if __name__ == "__main__":
    main()
