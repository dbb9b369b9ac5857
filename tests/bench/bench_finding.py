"""How long it takes to find cuts among 20,000, invented, by everything the form and the interface ask for.

Yardsticks of the same run: the newest page of the list, which looks for nothing, and one plain search through
the notes alone by bare sqlite3. What is looked for is mostly found seldom or nowhere, so that the log is
looked through to its end: a page stops once it is full. Beside the time on the clock stands the processor's.
"""

import os
import random
import sqlite3
import tempfile
from pathlib import Path

from shopmon.dashboards.app import create_app

from shopmon.records.carrying.held import held
from shopmon.records.database import open_database
from shopmon.records.sound.space import folder_bytes
from shopmon.records.tables import (
    analyses,
    clock_offsets,
    contexts,
    corrections,
    cuts,
    judgements,
    marks,
    recordings,
    streams,
)
from shopmon.records.tools.tables import tools
from tests.bench.bench_mills import RATE_HZ, Rows, cut, line
from tests.dashboards.shop_monitor import ShopMonitor

TOOLS, CUTS, CONTEXTS, CORRECTED, NOTES, MARKS, BOOTS = 200, 20_000, 4000, 2000, 6000, 2000, 300
CUTS_A_BOOT = CUTS // BOOTS + 1
BEGAN_S = 1_700_000_000.0
WORDS = (
    "wall",
    "vice",
    "chip",
    "coolant",
    "finish",
    "edge",
    "burr",
    "loose",
    "clamp",
    "shim",
    "slot",
    "pass",
    "jaw",
    "again",
    "better",
    "worse",
    "louder",
    "spindle",
    "override",
    "collet",
    "new",
    "clean",
    "size",
    "noise",
)


def log_a_season(rows: Rows) -> list[dict]:
    """Enter tools, cuts with long analyses, notes, marks and corrections; return the tools."""
    pick, chance = rows.chance.choice, rows.chance
    made = rows.keep(tools, [{"label": f"plum #{n}", "kind": "end mill"} for n in range(TOOLS)])
    boots = [f"boot-{n}" for n in range(BOOTS)]
    rows.keep(
        clock_offsets,
        [
            {"boot_id": boot, "wall_offset_s": BEGAN_S + 86_400.0 * n, "origin": "network"}
            for n, boot in enumerate(boots)
        ],
    )
    stream = {"source_id": "s", "name": "s", "sample_rate_hz": RATE_HZ, "channels": 1, "code_format": "int16"}
    streamed = [row["id"] for row in rows.keep(streams, [{**stream, "boot_id": boot} for boot in boots])]
    said = [row["id"] for row in rows.keep(contexts, [context(pick(made), chance) for _ in range(CONTEXTS)])]
    files = rows.keep(recordings, [recording(n, streamed[n // CUTS_A_BOOT]) for n in range(CUTS)])
    logged = rows.keep(
        cuts,
        [
            {
                **cut(n, streamed[n // CUTS_A_BOOT], pick(said)),
                "boot_id": boots[n // CUTS_A_BOOT],
                "start_monotonic_s": 300.0 * (n % CUTS_A_BOOT),
                "recording_id": files[n]["id"],
                "keep": n % 40 == 0,
                "heard_rpm": round(pick([9000.0, 12_000.0, 18_000.0]) * chance.uniform(0.97, 1.0), 1),
            }
            for n in range(CUTS)
        ],
    )
    common = {"original": True, "engine_version": "0", "settings_hash": "0"}
    for first in range(0, CUTS, 2000):
        some = logged[first : first + 2000]
        heard = [
            {"cut_id": row["id"], **common, "result": analysis(row["heard_rpm"], chance)} for row in some
        ]
        rows.keep(analyses, heard)
    rows.keep(
        judgements,
        [{"cut_id": pick(logged)["id"], "verdict": "note", "note": text(chance)} for _ in range(NOTES)],
    )
    rows.keep(
        marks,
        [
            {"stream_id": row["stream_id"], "sample": row["first_sample"] + RATE_HZ, "note": text(chance)}
            for row in chance.choices(logged, k=MARKS)
        ],
    )
    changed = [
        ("end_mill_id", lambda: pick(made)["id"]),
        ("part", lambda: pick(["brake lever", "hub shell"])),
    ]
    wrong = [(pick(logged)["id"], *pick(changed)) for _ in range(CORRECTED)]
    rows.keep(
        corrections,
        [
            {"table_name": "cuts", "row_id": row, "field": name, "value": value(), "note": ""}
            for row, name, value in wrong
        ],
    )
    rows.keep(judgements, [{"cut_id": logged[77]["id"], "verdict": "note", "note": "the QUILL was warm"}])
    return made


def context(tool: dict, chance: random.Random) -> dict:
    """Return an invented context with a tool."""
    pick = chance.choice
    return {
        "end_mill_id": tool["id"], "end_mill": tool["label"], "holder": pick(["collet A", "collet B", None]),
        "material": pick(["7075", "7075", "316"]), "operation": pick(["roughing", "finishing"]),
        "part": pick(["brake lever", "hub shell", "axle"]), "nominal_rpm": pick([9000.0, 12_000.0, 18_000.0]),
        "feed_mm_min": 900.0, "ap_mm": 4.0, "ae_mm": 0.6,
        "program_section": pick([None, f"{chance.randint(1, 9)} of 9: T5"]),
    }  # fmt: skip


def recording(number: int, stream_id: str) -> dict:
    """Return an invented recording, whose sound is still there of one cut in four."""
    first = number * 100 * RATE_HZ
    return {
        "stream_id": stream_id, "source_id": "s", "first_sample": first, "end_sample": first + 90 * RATE_HZ,
        "sample_rate_hz": RATE_HZ, "channels": 1, "code_format": "int16", "path": f"recordings/{number}.flac",
        "state": "filed" if number % 4 == 0 else "removed",
        "audio_bytes": 5_000_000 if number % 4 == 0 else 0,
    }  # fmt: skip


def analysis(rpm: float, chance: random.Random) -> dict:
    """Return an analysis with a track of the speed, as long as that of a cut of a minute."""
    track = [[round(0.2 * n, 2), round(rpm + chance.uniform(-9, 9), 1), 0.98] for n in range(300)]
    return {"spindle": {"rpm": rpm, "track": track}, "advice": [], "notices": [], "stray": []}


def text(chance: random.Random) -> str:
    """Return an invented note of a line to half a page."""
    return " ".join(chance.choices(WORDS, k=chance.choice([4, 12, 12, 40, 300])))


def plain_notes(path: Path) -> list:
    """The yardstick: one search through the notes alone."""
    with sqlite3.connect(path) as connection:
        return connection.execute("SELECT cut_id FROM judgements WHERE note LIKE '%quill%'").fetchall()


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "data").mkdir()
        path = folder / "data/shopmon.db"
        engine = open_database(path, folder / "backups")
        made = log_a_season(Rows(engine))
        engine.dispose()
        print(f"  {CUTS:,} cuts, {NOTES:,} notes, {MARKS:,} marks, {path.stat().st_size / 1e6:.0f} MB of log")
        fill_the_disk(folder / "data")
        monitor = ShopMonitor(folder)
        try:
            report(monitor, made, path)
        finally:
            monitor.close()


def fill_the_disk(root: Path) -> None:
    """Put a file of figures in place for every cut, and sound for one in four."""
    (root / "recordings").mkdir()
    for number in range(CUTS):
        (root / f"recordings/{number}.features.npz").write_bytes(bytes(9))
        if number % 4 == 0:
            (root / f"recordings/{number}.flac").write_bytes(bytes(99))
            (root / f"recordings/{number}.flac.state.json").write_bytes(bytes(9))
    os.utime(root / "recordings", (BEGAN_S, BEGAN_S))


def look_again(monitor: ShopMonitor, root: Path, step: list[int]) -> None:
    """Add up what is on the disk after something was filed."""
    step[0] += 1
    os.utime(root / "recordings", (BEGAN_S + step[0], BEGAN_S + step[0]))
    held(monitor.kept)


def report(monitor: ShopMonitor, made: list[dict], path: Path) -> None:
    """Look for one thing after the other."""
    client = create_app(monitor).test_client()
    day_s = BEGAN_S + 86_400.0 * 3
    asked = {
        "nothing: the newest page (yardstick)": "",
        "a word of a note, one cut": "words=quill",
        "a word that is nowhere": "words=gearbox",
        "two words": "words=lever+quill",
        "a word of nearly all": "words=7075",
        "a tool's label as a word": "words=plum+%2317",
        "an old day": f"since={day_s:.0f}&until={day_s + 86_400:.0f}",
        "days to come": "since=1900000000",
        "chatter": "verdict=chatter",
        "a speed few have": "rpm_from=17999",
        "a speed none has": "rpm_from=30000",
        "a word, an old day, a speed": f"words=vice&since={day_s:.0f}&until={day_s + 86_400:.0f}&rpm_to=9000",
        "tool": f"end_mill_id={made[17]['id']}",
        "label": "end_mill=plum+%2317",
        "material that is nowhere": "material=brass",
        "part and operation": "part=axle&operation=finishing&verdict=chatter&rpm_to=8750",
        "marked keep": "keep=true",
        "keep, none such": "keep=true&material=brass",
    }  # fmt: skip
    print(f"  {'ms':40s} {'median':>8s} {'worst':>8s} {'processor':>10s}")
    for name, query in asked.items():
        address = f"/api/cuts?limit=25&{query}"
        answer = client.get(address)
        assert answer.status_code == 200, (address, answer.get_json())
        line(name, lambda address=address: client.get(address).data)
    step = [0]
    line("what is on the disk", lambda: held(monitor.kept))
    line("the same, after something was filed", lambda: look_again(monitor, path.parent, step))
    line("all files, walked through (yardstick)", lambda: folder_bytes(path.parent))
    line("notes alone, bare sqlite3 (yardstick)", lambda: plain_notes(path))


if __name__ == "__main__":
    main()
