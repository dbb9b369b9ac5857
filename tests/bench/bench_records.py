"""Figures of the archive: rows, commits, audio to disk, filing, reading, opening.

Yardsticks of the same run: the same rows through bare sqlite3, the same audio through one bare file with the
same forced writes, FLAC through the library alone.
"""

import os
import sqlite3
import statistics
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
import soundfile

from shopmon.records.archive import Archive, FeatureRow
from shopmon.signals.block import Block, Channel
from tests.records.synthetic import stream

RATE_HZ = 48_000
INFO = stream(RATE_HZ)
BLOCK = 1024
ROWS = 5000
AUDIO_S = 300
PROMPT = 60


def hum(seconds: int) -> np.ndarray:
    """Return noisy tones that pack about as well as a machine: int16, shape ``(frames, 1)``."""
    t = np.arange(seconds * RATE_HZ) / RATE_HZ
    sound = 6000 * np.sin(2 * np.pi * 600 * t) + 3000 * np.sin(2 * np.pi * 1432 * t)
    noise = np.random.default_rng(1).normal(0, 800, len(t))
    return (sound + noise).astype(np.int16)[:, None]


def timed(action) -> float:
    """Seconds that `action` takes."""
    begin = time.perf_counter()
    action()
    return time.perf_counter() - begin


def line(what: str, figure: float, unit: str, yardstick: str = "", measure: float | None = None) -> None:
    """Print one figure beside its yardstick."""
    beside = f"   {yardstick}: {measure:,.4g} {unit}" if measure is not None else ""
    print(f"  {what:44s} {figure:12,.4g} {unit}{beside}")


def rows(archive: Archive, folder: Path) -> None:
    """Rows a second, and how long a caller and a durable commit take."""

    def ours() -> None:
        for number in range(ROWS):
            archive.add_event(f"event{number}", "notice", "s", number, None, {"text": "a line of the log"})
        archive.flush(filing=False)

    def bare() -> None:
        with sqlite3.connect(folder / "bare.db") as connection:
            connection.execute("PRAGMA journal_mode=WAL")
            connection.execute("CREATE TABLE events (id TEXT PRIMARY KEY, n INTEGER, data TEXT)")
            many = ((f"event{number}", number, '{"text": "a line of the log"}') for number in range(ROWS))
            connection.executemany("INSERT INTO events VALUES (?, ?, ?)", many)

    line("rows", ROWS / timed(ours), "rows/s", "bare sqlite3, one batch", ROWS / timed(bare))
    one = statistics.median(
        timed(lambda n=n: archive.add_event(f"one{n}", "notice", None, None, None, {})) for n in range(500)
    )
    line("a caller waits", 1e6 * one, "µs")


def commits(archive: Archive, folder: Path) -> None:
    """From the call to the row on disk, with power-cut durability."""

    def ours(number: int) -> None:
        archive.mark_moment(f"mark{number}", "s", number, "note")
        archive.flush(filing=False)

    bare = sqlite3.connect(folder / "full.db", isolation_level=None)
    bare.execute("PRAGMA journal_mode=WAL")
    bare.execute("PRAGMA synchronous=FULL")
    bare.execute("CREATE TABLE marks (id TEXT PRIMARY KEY, note TEXT)")
    insert = "INSERT INTO marks VALUES (?, 'note')"
    mine = [timed(lambda n=n: ours(n)) for n in range(PROMPT)]
    theirs = [timed(lambda n=n: bare.execute(insert, (str(n),))) for n in range(PROMPT)]
    bare.close()
    for name, of in (("median", statistics.median), ("worst", max)):
        line(f"one durable row, {name}", 1e3 * of(mine), "ms", "bare", 1e3 * of(theirs))


def feed(archive: Archive, codes: np.ndarray) -> None:
    """Give the archive a whole stream as fast as it takes it."""
    for first in range(0, len(codes) - BLOCK + 1, BLOCK):
        block = Block(
            codes=codes[first : first + BLOCK],
            code_format="int16",
            sample_rate_hz=RATE_HZ,
            first_sample=first,
            source_id=INFO.source_id,
            stream_id=INFO.stream_id,
            channels=(Channel(),),
        )
        archive.append(block)
        archive.append_features(INFO.stream_id, feature(block.end_sample))
        if first % (RATE_HZ * 10 // BLOCK * BLOCK) == 0:
            archive.flush(filing=False)


def feature(sample: int) -> FeatureRow:
    """Return the figures of one frame, each a little different from the last."""
    level = -20 + 5 * np.sin(sample * 1.7)
    return FeatureRow(
        end_sample=sample,
        rpm=12_000 + level,
        level_db=level,
        comb_db=level * 1.1,
        stray_db=level * 2.3,
        state="cutting",
        engaged=True,
    )


def audio(archive: Archive, folder: Path) -> None:
    """Audio into the rolling buffer, then into FLAC with verification."""
    codes = hum(AUDIO_S)
    archive.start_stream(INFO)

    def ours() -> None:
        archive.start_cut("cut", INFO.stream_id, 0, {})
        feed(archive, codes)
        archive.flush(filing=False)

    def bare() -> None:
        with open(folder / "bare.raw", "wb") as file:
            for first in range(0, len(codes), BLOCK):
                file.write(codes[first : first + BLOCK].tobytes())
                if first % (RATE_HZ * 10 // BLOCK * BLOCK) == 0:
                    file.flush()
                    os.fdatasync(file.fileno())

    yardstick = AUDIO_S / timed(bare)
    line("audio and features to disk", AUDIO_S / timed(ours), "x real time", "bare file", yardstick)
    archive.end_cut("cut", len(codes), [(0, len(codes))], [], {}, "0", "h")

    def filing() -> None:
        archive.end_stream(INFO.stream_id)
        archive.flush()

    line(
        "FLAC, verified, and features",
        AUDIO_S / timed(filing),
        "x real time",
        "FLAC alone",
        AUDIO_S / timed(lambda: soundfile.write(folder / "bare.flac", codes, RATE_HZ, subtype="PCM_16")),
    )
    size = archive.audio_path("cut").stat().st_size
    line("size of FLAC to codes", size / codes.nbytes, "")
    features = next((folder / "data/recordings").glob("*.npz")).stat().st_size
    line("features of one hour, 47 frames a second", features / AUDIO_S * 3600 / 1e6, "MB")


def reading(archive: Archive) -> None:
    """A list of cuts while rows are being written."""
    stop = threading.Event()

    def write() -> None:
        number = 0
        while not stop.wait(0.005):
            number += 1
            archive.add_event(f"busy{number}", "notice", None, None, None, {})

    for number in range(1000):
        archive.start_cut(f"c{number}", "s2", number, {"part": f"p{number % 7}"})
    archive.flush(filing=False)
    writer = threading.Thread(target=write)
    writer.start()
    times = [timed(lambda: archive.cuts(limit=100)) for _ in range(100)]
    stop.set()
    writer.join()
    line("list of 100 cuts, median", 1e3 * statistics.median(times), "ms")


def opening(folder: Path) -> None:
    """Start with all that in place, and the first start of all."""
    place = folder / "data"

    def again() -> None:
        Archive.open(place, budget_bytes=10**9, reserve_bytes=0).close()

    again()  # closes the cuts that were left open, once
    line("open and close again", 1e3 * timed(again), "ms")
    first = timed(lambda: Archive.open(folder / "new", budget_bytes=10**9, reserve_bytes=0).close())
    line("the first open of all, Alembic imported", 1e3 * first, "ms")


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        archive = Archive.open(folder / "data", budget_bytes=10**9, buffer_s=600, reserve_bytes=0)
        try:
            rows(archive, folder)
            commits(archive, folder)
            audio(archive, folder)
            archive.start_stream(stream(RATE_HZ, stream_id="s2"))
            reading(archive)
        finally:
            archive.close()
        opening(folder)


if __name__ == "__main__":
    main()
