"""Run as ``python -m tests.bench.detector draw|score|look|trade|sure|shop-day|fit …``.

Typical: draw three families to tune on and two to report on, then score them.

    python -m tests.bench.detector draw corpus/train --family A --first 0 --count 120
    python -m tests.bench.detector score corpus/train --told unknown
    python -m tests.bench.detector look corpus/train 17
    python -m tests.bench.detector shop-day --hours 3
    python -m tests.bench.detector sure corpus/train corpus/report
    python -m tests.bench.detector fit corpus/train corpus/sums --out shopmon/listening/chatter/weights.py
"""

import argparse
from pathlib import Path

from tests.bench.detector import corpus, fitting, looking, reliability, running, shop_day, trade
from tests.bench.detector.families import FAMILIES
from tests.bench.detector.hearing import TOLD
from tests.bench.detector.sum_drawing import SUMS


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
    draw.add_argument("--family", choices=sorted({*FAMILIES, *SUMS}), default="A")
    draw.add_argument("--first", type=int, default=0)
    draw.add_argument("--count", type=int, default=200)
    draw.add_argument("--sensors", type=int, choices=(1, 2), default=1)
    score = names.add_parser("score", help="listen to a folder and print the tables")
    score.add_argument("folder")
    score.add_argument("--told", choices=TOLD, default="as-drawn")
    score.add_argument("--only", help="a kind, sensor or tag")
    score.add_argument("--jobs", type=int, default=1)
    score.add_argument("--channel", type=int, help="of cases with two sensors, hear only this one")
    score.add_argument("--lines", type=int, default=0, help="of each of the worst cases, show so many lines")
    look = names.add_parser("look", help="print what was heard of one case, frame by frame")
    look.add_argument("folder")
    look.add_argument("number", type=int)
    look.add_argument("--at", type=float, help="show every line of this moment, s")
    look.add_argument("--told", choices=TOLD, default="as-drawn")
    curve = names.add_parser("trade", help="accuracy against delay over the setting")
    curve.add_argument("folder")
    curve.add_argument("--rates", type=rates, default=trade.RATES, help="false alarms an hour, with commas")
    curve.add_argument("--told", choices=TOLD, default="as-drawn")
    curve.add_argument("--jobs", type=int, default=1)
    sure = names.add_parser("sure", help="how sure alarms are said to be against how many are right")
    sure.add_argument("folders", nargs="+", metavar="FOLDER")
    sure.add_argument("--told", choices=TOLD, default="as-drawn")
    sure.add_argument("--jobs", type=int, default=1)
    day = names.add_parser("shop-day", help="false alarms per hour of cutting over hours in the shop")
    day.add_argument("--hours", type=float, default=30.0)
    day.add_argument("--rates", type=rates, default=(), help="false alarms an hour, with commas")
    day.add_argument("--first", type=int, default=0, help="number of the first hour")
    day.add_argument("--keep", type=Path, help="a folder that remembers hours already heard")
    fit = names.add_parser("fit", help="fit the evidence to folders of cases: the source of its weights")
    fit.add_argument("folders", nargs="+", metavar="FOLDER")
    fit.add_argument("--worth", nargs="+", type=float, help="how much a case of each folder weighs")
    fit.add_argument("--out", type=Path, metavar="FILE", help="write there instead of printing")
    return parser


def rates(text):
    """Read numbers with commas between them."""
    return tuple(float(part) for part in text.split(","))


def main():
    """Read the command line and do what it says."""
    given = vars(commands().parse_args())
    does = {
        "draw": corpus.draw,
        "score": running.score,
        "look": looking.look,
        "trade": trade.trade,
        "shop-day": shop_day.shop_day,
        "sure": reliability.sure,
        "fit": fitting.fit,
    }
    does[given.pop("command")](**given)


if __name__ == "__main__":
    main()
