"""How long the pages and routes of the tools take with 20,000 cuts and 400 tools, invented.

Yardsticks of the same run: the totals added up by one plain query over the cuts without corrections, and a
page that asks nothing of the register. The aim is 300 ms for every page. Beside the time on the clock stands
the processor's, which hardly depends on what else the computer does.
"""

import random
import statistics
import tempfile
import time
import uuid
from pathlib import Path

import numpy as np
import sqlalchemy as sa
from shopmon.dashboards.app import create_app

from shopmon.records.database import open_database
from shopmon.records.tables import analyses, contexts, corrections, cuts, judgements, steady_sounds, streams
from shopmon.records.tools.tables import (
    holders,
    mill_types,
    tool_assemblies,
    tool_edges,
    tool_retirements,
    tools,
    wear_readings,
)
from shopmon.service.mills.life import ToolLives
from tests.dashboards.shop_monitor import ShopMonitor
from tests.records.shop import steady_sound

TOOLS, CUTS, CONTEXTS, CORRECTED, JUDGED = 400, 20_000, 4000, 1500, 500
RATE_HZ, ENGAGEMENTS = 48_000, 20
TIMES = 9


class Rows:
    """Makes stamped rows in order, from a fixed seed."""

    def __init__(self, engine: sa.Engine):
        self.engine, self.chance, self.sequence = engine, random.Random(7), 10_000

    def stamp(self) -> dict:
        self.sequence += 1
        row_id = str(uuid.UUID(int=self.chance.getrandbits(128), version=4))
        return {
            "id": row_id,
            "sequence": self.sequence,
            "boot_id": "boot",
            "monotonic_s": float(self.sequence),
        }

    def keep(self, table: sa.Table, rows: list[dict]) -> list[dict]:
        stamped = [{**self.stamp(), **row} for row in rows]
        with self.engine.begin() as connection:
            connection.execute(sa.insert(table), stamped)
        return stamped


def furnish(rows: Rows) -> tuple[list[dict], list[dict]]:
    """Enter tools of twenty types with regrinds, holders, wear and retirements; return tools and edges."""
    pick = rows.chance.choice
    types = rows.keep(
        mill_types, [{"label": f"type {n}", "DC": 3.0 + n % 9, "NOF": 2 + n % 3} for n in range(20)]
    )
    made = rows.keep(
        tools,
        [{"label": f"tool {n}", "kind": "end mill", "type_id": pick(types)["id"]} for n in range(TOOLS)],
    )
    edges = rows.keep(tool_edges, [{"tool_id": tool["id"], "from_sequence": 0} for tool in made])
    held = rows.keep(holders, [{"label": f"collet {n}"} for n in range(12)])
    rows.keep(
        tool_assemblies,
        [
            {"tool_id": pick(made)["id"], "holder_id": pick(held)["id"], "stickout_mm": 24.0}
            for _ in range(600)
        ],
    )
    return made, edges


def log_cuts(rows: Rows, made: list[dict], edges: list[dict]) -> None:
    """Log the cuts of some years, then correct and judge a part of them."""
    pick = rows.chance.choice
    stream = {"source_id": "s", "name": "s", "sample_rate_hz": RATE_HZ, "channels": 1, "code_format": "int16"}
    ids = [row["id"] for row in rows.keep(streams, [stream] * 200)]
    said = rows.keep(contexts, [context(pick(made), pick) for _ in range(CONTEXTS)])
    logged = rows.keep(cuts, [cut(number, pick(ids), pick(said)["id"]) for number in range(CUTS)])
    result = {"spindle": {"rpm": 12_000.0}, "advice": [], "notices": [], "stray": []}
    common = {"original": True, "engine_version": "0", "settings_hash": "0", "result": result}
    rows.keep(analyses, [{"cut_id": row["id"], **common} for row in logged])
    heard = np.random.default_rng(7)
    rows.keep(
        steady_sounds, [{"cut_id": row["id"], "flutes": 3, **steady_sound(heard)[0]} for row in logged]
    )
    wrong = [
        {
            "table_name": "cuts",
            "row_id": pick(logged)["id"],
            "field": "end_mill_id",
            "value": pick(made)["id"],
        }
        for _ in range(CORRECTED)
    ]
    rows.keep(corrections, [{**row, "note": ""} for row in wrong])
    rows.keep(
        judgements,
        [{"cut_id": pick(logged)["id"], "verdict": "not a cut", "note": ""} for _ in range(JUDGED)],
    )
    rows.keep(wear_readings, [{"tool_id": pick(made)["id"], "VB_mm": 0.1} for _ in range(1000)])
    gone = rows.chance.sample(edges, 250)
    rows.keep(
        tool_retirements,
        [{"tool_id": edge["tool_id"], "edge_id": edge["id"], "reason": "flank wear"} for edge in gone],
    )
    ground = rows.chance.sample(gone, 100)
    rows.keep(
        tool_edges, [{"tool_id": edge["tool_id"], "from_sequence": rows.sequence - 9000} for edge in ground]
    )


def context(tool: dict, pick) -> dict:
    """Return an invented context with a tool."""
    return {
        "end_mill_id": tool["id"],
        "end_mill": tool["label"],
        "material": pick(["7075", "7075", "316"]),
        "operation": pick(["roughing", "finishing"]),
        "nominal_rpm": 12_000.0,
        "feed_mm_min": 900.0,
        "ap_mm": 4.0,
        "ae_mm": 0.6,
    }


def cut(number: int, stream_id: str, context_id: str) -> dict:
    """Return an invented cut of many short engagements."""
    first = number * 100 * RATE_HZ
    spans = [[first + n * RATE_HZ, first + n * RATE_HZ + 30_000] for n in range(ENGAGEMENTS)]
    ringing = [{"start_sample": first, "end_sample": first + 9000, "frequency_hz": 1432.0, "level_db": -20.0,
                "severity": "clear", "kind": "quasi-periodic", "confidence": 0.9}]  # fmt: skip
    rings = number % 5 == 0
    return {
        "stream_id": stream_id,
        "context_id": context_id,
        "start_monotonic_s": float(number),
        "first_sample": first,
        "end_sample": spans[-1][1],
        "engaged": spans,
        "chatter": ringing if rings else [],
        "engaged_samples": ENGAGEMENTS * 30_000,
        "chatter_samples": 9000 if rings else 0,
        "entries": ENGAGEMENTS,
        "ended": True,
        "recovered": False,
        "keep": False,
    }


def timed(action) -> tuple[float, float, float]:
    """Median and worst on the clock, and the median of the processor, ms; the first, warming, is left out."""
    action()
    times, busy = [], []
    for _ in range(TIMES):
        begin, worked = time.perf_counter(), time.process_time()
        action()
        times.append(1e3 * (time.perf_counter() - begin))
        busy.append(1e3 * (time.process_time() - worked))
    return statistics.median(times), max(times), statistics.median(busy)


def plain_sum(engine: sa.Engine) -> None:
    """The yardstick: no corrections, no judgements, no edges."""
    query = sa.select(contexts.c.end_mill_id, sa.func.sum(cuts.c.engaged_samples))
    query = query.join(contexts, contexts.c.id == cuts.c.context_id).group_by(contexts.c.end_mill_id)
    with engine.connect() as connection:
        connection.execute(query).all()


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "data").mkdir()
        engine = open_database(folder / "data/shopmon.db", folder / "backups")
        rows = Rows(engine)
        made, edges = furnish(rows)
        log_cuts(rows, made, edges)
        engine.dispose()
        monitor = ShopMonitor(folder)
        try:
            report(monitor, made)
        finally:
            monitor.close()


def report(monitor: ShopMonitor, made: list[dict]) -> None:
    """Ask every page and route."""
    client = create_app(monitor).test_client()
    busiest = max(monitor.register.tools(), key=lambda tool: tool.totals.cuts)
    monitor.set_context({"end_mill_id": busiest.id}, "touched")
    cut_id = monitor.kept.cuts(limit=1)[0]["id"]
    here = busiest.id
    first, second = (f"kind:{kind.id}" for kind in monitor.register.kinds()[:2])
    pages = {
        "help, which asks nothing (yardstick)": "/help",
        "End mills": "/mills",
        "a tool": f"/mills/{here}",
        "blind trials": "/compare/trials",
        "its cuts": f"/mills/{here}/cuts",
        "labels, a sheet": "/mills/labels",
        "kinds": "/mills/kinds",
        "a new tool": "/mills/new",
        "the code on a label": f"/m/{here[:8]}",
        "Compare, two kinds": f"/compare?a={first}&b={second}",
        "Now": "/",
        "a cut": f"/cuts/{cut_id}",
        "GET /api/mills": "/api/mills",
        "GET /api/mills/ID": f"/api/mills/{here}",
        "CSV": "/api/mills/export.csv",
    }
    print(f"  {CUTS:,} cuts, {TOOLS} tools, {CORRECTED:,} corrections, {JUDGED} judgements")
    print(f"  {'ms':40s} {'median':>8s} {'worst':>8s} {'processor':>10s}")
    for name, address in pages.items():
        assert client.get(address).status_code in (200, 302), address
        line(name, lambda address=address: client.get(address).data)
    line("totals of all tools and edges", monitor.register.tools)
    line("one plain sum over the cuts (yardstick)", lambda: plain_sum(monitor.kept._engine))
    line("all lives, for the statistics", monitor.register.lives)
    line("outlooks, after a change", lambda: ToolLives(monitor.register).outlooks)


def line(name: str, action) -> None:
    """Print the figures of one action."""
    median, worst, busy = timed(action)
    print(f"  {name:40s} {median:8.1f} {worst:8.1f} {busy:10.1f}")


if __name__ == "__main__":
    main()
