"""How long report, PDF, tables and sound of a 60-minute cut take, and how large they are.

The cut is invented: an hour at 48 kHz, 20 frames a second, 240 chatter events, ten notes, six photographs of
2 megapixels. Yardsticks of the same run: the same of a cut of two minutes, and plain ``json.dumps`` of the
hour's figures. A file named in ``SHOPMON_BENCH_REPORT`` keeps the PDF, to be looked at.
"""

import io
import json
import os
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image
from shopmon.dashboards.app import create_app

from shopmon.records.database import open_database
from shopmon.records.sound.features import RECORD, STATES, WHOLE, write_features
from shopmon.records.tables import analyses, cuts, recordings, streams
from tests.bench.bench_mills import Rows
from tests.bench.bench_review import write
from tests.dashboards.kept_monitor import KeptMonitor

RATE_HZ, FRAMES_HZ = 48_000, 20
EVENTS_EVERY_S, NOTES, PHOTOGRAPHS = 15, 10, 6


def log_a_cut(rows: Rows, root: Path, minutes: float) -> str:
    """File an invented recording with its figures, cut and events; return the cut's id."""
    seconds = 60 * minutes
    name, end = f"{minutes:g}", int(seconds * RATE_HZ)
    write(root / f"recordings/{name}.flac", seconds, sweep=False)
    frames = np.zeros(int(seconds * FRAMES_HZ), RECORD)
    frames["end_sample"] = np.arange(1, frames.size + 1) * (RATE_HZ // FRAMES_HZ)
    chance = np.random.default_rng(1)
    for field, middle in (("rpm", 11_800), ("level_db", -22), ("comb_db", -25), ("stray_db", -48)):
        frames[field] = middle + chance.standard_normal(frames.size)
    frames["state"], frames["engaged"], frames["check"] = STATES.index("cutting"), 1, WHOLE
    write_features(root / f"recordings/{name}.features.npz", frames, 0, RATE_HZ)
    form = {"source_id": "s", "name": "s", "sample_rate_hz": RATE_HZ, "channels": 1, "code_format": "int16"}
    (stream,) = rows.keep(streams, [form])
    audio = root / f"recordings/{name}.flac"
    (recording,) = rows.keep(recordings, [{
        "stream_id": stream["id"], "source_id": "s", "first_sample": 0, "end_sample": end,
        "sample_rate_hz": RATE_HZ, "channels": 1, "code_format": "int16", "state": "filed",
        "path": f"recordings/{name}.flac", "features_path": f"recordings/{name}.features.npz",
        "audio_bytes": audio.stat().st_size,
    }])  # fmt: skip
    ringing = [event(first) for first in range(20, int(seconds) - 20, EVENTS_EVERY_S)]
    (cut,) = rows.keep(cuts, [{
        "stream_id": stream["id"], "recording_id": recording["id"], "start_monotonic_s": 0.0,
        "first_sample": 10 * RATE_HZ, "end_sample": end - 3 * RATE_HZ, "chatter": ringing,
        "engaged": [[first * RATE_HZ, (first + 4) * RATE_HZ] for first in range(10, int(seconds) - 8, 5)],
        "ended": True, "recovered": False, "keep": False,
    }])  # fmt: skip
    track = [[round(t, 1), 11_800.0, 0.98] for t in np.arange(0, seconds, 0.2)]
    told = {
        "spindle": {"rpm": 11_800.0, "track": track},
        "advice": [],
        "notices": [],
        "stray": [],
        "state": "chatter",
    }
    rows.keep(
        analyses,
        [
            {
                "cut_id": cut["id"],
                "original": True,
                "engine_version": "0",
                "settings_hash": "0",
                "result": told,
            }
        ],
    )
    return cut["id"]


def say_of(monitor: KeptMonitor, cut_id: str) -> None:
    """Add notes and photographs."""
    for number in range(NOTES):
        monitor.archive.add_judgement(cut_id, "note", f"note {number} <b>& 'so'</b> " * 30)
    for number in range(PHOTOGRAPHS):
        monitor.archive.add_cut_photo(cut_id, photograph(number), f"wall {number} <i>")
    monitor.archive.flush()


def event(first_s: int) -> dict:
    """Return an invented chatter event."""
    return {
        "start_sample": first_s * RATE_HZ, "end_sample": (first_s + 2) * RATE_HZ, "frequency_hz": 1432.6,
        "level_db": -20.0 - first_s % 7, "severity": "clear", "kind": "quasi-periodic", "confidence": 0.93,
    }  # fmt: skip


def photograph(number: int) -> bytes:
    """Return an invented photograph with some detail in it."""
    chance = np.random.default_rng(number)
    grain = chance.integers(90, 160, (1200, 1600), dtype=np.uint8)
    file = io.BytesIO()
    Image.fromarray(grain).save(file, "JPEG", quality=80)
    return file.getvalue()


def line(name: str, action) -> bytes:
    """Print time and size of what an action gives."""
    began, busy = time.perf_counter(), time.process_time()
    content = action()
    took = f"{time.perf_counter() - began:8.2f} s {time.process_time() - busy:8.2f} s"
    print(f"  {name:46s} {took} {len(content) / 1e6:10.2f} MB", flush=True)
    return content


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        (root / "recordings").mkdir()
        engine = open_database(root / "shopmon.db", root / "backups")
        rows = Rows(engine)
        logged = {minutes: log_a_cut(rows, root, minutes) for minutes in (2, 60)}
        engine.dispose()
        monitor = KeptMonitor(root)
        try:
            print(f"  {'':46s} {'clock':>10s} {'processor':>10s} {'size':>13s}")
            for minutes, cut_id in logged.items():
                say_of(monitor, cut_id)
                figures = report(monitor, cut_id, minutes)
            line("60 minutes: the figures by json.dumps (yardstick)", lambda: figures)
        finally:
            monitor.close()


def report(monitor: KeptMonitor, cut_id: str, minutes: int) -> bytes:
    """Ask for everything that can be taken along of one cut."""
    client = create_app(monitor).test_client()

    def get(address: str) -> bytes:
        answer = client.get(address)
        assert answer.status_code == 200, (address, answer.status_code, answer.data[:200])
        return answer.data

    asked = {
        "report": f"/cuts/{cut_id}/report",
        "report, A4, with sound": f"/cuts/{cut_id}/report?paper=a4&sound=yes",
        "report as PDF, letter": f"/cuts/{cut_id}/report.pdf?paper=letter",
        "figures as CSV": f"/api/cuts/{cut_id}/data.csv",
        "all of it as JSON": f"/api/cuts/{cut_id}/data.json",
        "sound with labels, FLAC": f"/api/cuts/{cut_id}/labelled.flac",
        "sound with labels, WAV": f"/api/cuts/{cut_id}/labelled.wav",
    }
    for name, address in asked.items():
        content = line(f"{minutes} minutes: {name}", lambda address=address: get(address))
        if name.startswith("report as PDF") and os.environ.get("SHOPMON_BENCH_REPORT"):
            Path(os.environ["SHOPMON_BENCH_REPORT"]).write_bytes(content)
    figures = monitor.archive.features(cut_id)
    return json.dumps({key: np.asarray(values).tolist() for key, values in figures.items()}).encode()


if __name__ == "__main__":
    main()
