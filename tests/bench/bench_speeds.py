"""Figures of the page *Speeds*: what the log of years costs, what an update, a map and a rebuilding take.

The yardstick of each is printed beside it: the list of cuts for the log, one cut's learning for the rest.
"""

import statistics
import tempfile
import time
from pathlib import Path

from shopmon.cutting.advising.learned import Question, speed_sheet
from shopmon.cutting.advising.learning import PastCut, learn
from shopmon.records.archive import Archive
from shopmon.records.database import open_database
from shopmon.service.settings import Machine
from shopmon.service.speeds.beliefs import Beliefs
from shopmon.service.speeds.question import question_of
from shopmon.service.speeds.tool_and_job import key_values
from tests.bench.bench_mills import Rows, furnish, log_cuts
from tests.service.logged_cuts import CONTEXT, Shop

TIMES, CUTS = 5, 40
LIMITED = Machine(max_rpm=18_000.0)


def line(name: str, action, times: int = TIMES) -> None:
    """Print median and worst of an action, in ms, and its processor time."""
    taken, busy = [], []
    for _ in range(times):
        begin, worked = time.perf_counter(), time.process_time()
        action()
        taken.append(1e3 * (time.perf_counter() - begin))
        busy.append(1e3 * (time.process_time() - worked))
    print(
        f"  {name:52s} {statistics.median(taken):9.1f} {max(taken):9.1f} {statistics.median(busy):9.1f}"
    )


def the_log_of_years(folder: Path) -> None:
    """Find the cuts of one tool among 20,000."""
    (folder / "data").mkdir()
    engine = open_database(folder / "data/shopmon.db", folder / "backups")
    rows = Rows(engine)
    made, edges = furnish(rows)
    log_cuts(rows, made, edges)
    engine.dispose()
    archive = Archive.open(folder / "data", budget_bytes=10**9, buffer_s=0, reserve_bytes=0)
    context = next(
        cut["context"] for cut in archive.cuts(limit=100) if cut["context"].get("end_mill_id") is not None
    )
    values = key_values(context)
    print(f"  20,000 cuts, 1,500 corrections; {len(archive.cuts_of_tool(values))} cuts of this tool")
    line("the cuts of one tool, newest 200", lambda: archive.cuts_of_tool(values))
    line("the newest 200 of all cuts (yardstick)", lambda: archive.cuts(limit=200))
    archive.close()


def the_learning(folder: Path) -> None:
    """Learn a tool anew, from one more cut, and draw the map."""
    archive = Archive.open(folder / "fresh", budget_bytes=10**9, buffer_s=0, reserve_bytes=0)
    shop = Shop(archive)
    for number in range(CUTS):
        rpm = 9000.0 + 150 * number
        shop.cut((3.0, rpm, 1432.6 if number % 3 == 0 else None))
    beliefs = Beliefs(archive)
    line(f"all learned anew from {CUTS} cuts", lambda: beliefs.now(CONTEXT), times=1)
    known = beliefs.now(CONTEXT)
    line("nothing new in the log", lambda: beliefs.now(CONTEXT))
    cut = known.trials[0].learned
    line("one more cut, without the database (yardstick)", lambda: learn(known.belief, cut))
    asked: Question = question_of(CONTEXT, LIMITED, {"rpm": 11_800.0})
    line("map and cards", lambda: speed_sheet(known.belief, asked))
    quiet = PastCut(**{**cut.__dict__, "chattered": False, "chatter_hz": None})
    line("one more quiet cut", lambda: learn(known.belief, quiet))
    archive.close()


def main() -> None:
    """Print the table."""
    print(f"  {'ms':52s} {'median':>9s} {'worst':>9s} {'processor':>9s}")
    with tempfile.TemporaryDirectory() as name:
        the_log_of_years(Path(name))
        the_learning(Path(name))


if __name__ == "__main__":
    main()
