"""A process that records until it is killed, and tells in a file what it was promised."""

import os
import random
import time
from pathlib import Path

from shopmon.records.archive import Archive
from tests.records.synthetic import Feed, stream

RATE_HZ = 8000.0


def record_until_killed(folder: Path, run: int, seed: int) -> None:
    """Write cut after cut, the last one at the pace of the clock; never returns by itself for a minute."""
    chance = random.Random(seed)
    diary = os.open(folder / f"diary{run}", os.O_WRONLY | os.O_CREAT | os.O_APPEND)

    def tell(word: str, what) -> None:
        os.write(diary, f"{word} {what}\n".encode())

    archive = Archive.open(folder / "data", budget_bytes=10**9, buffer_s=30, reserve_bytes=0)
    feed = Feed(archive, stream(RATE_HZ, stream_id=f"run{run}"))
    feed.to(chance.uniform(1, 14))
    while chance.random() < 0.5:
        cut_id, start = f"run{run} at {feed.position}", feed.position / RATE_HZ
        feed.cut(cut_id, start, start + chance.uniform(1, 20))
        archive.flush(filing=False)
        tell("ended", cut_id)
        feed.to(feed.position / RATE_HZ + chance.uniform(1, 40))
        if chance.random() < 0.3:
            archive.keep_last(feed.info.stream_id, 5.0, f"kept {cut_id}")
            archive.flush(filing=chance.random() < 0.5)
            tell("kept", f"kept {cut_id}")
    _cut_in_real_time(archive, feed, f"run{run} open", tell)


def _cut_in_real_time(archive: Archive, feed: Feed, cut_id: str, tell) -> None:
    first = feed.position
    archive.start_cut(cut_id, feed.info.stream_id, first, {"part": "lever"})
    archive.flush(filing=False)
    tell("begun", cut_id)
    feed.engaged = True
    begin, number = time.monotonic(), 0
    while time.monotonic() - begin < 60:
        feed.to(feed.position / RATE_HZ + 0.1)
        tell("heard", feed.position)
        number += 1
        archive.add_event(f"{cut_id} {number}", "notice", feed.info.stream_id, feed.position, cut_id, {})
        if number % 10 == 0:
            archive.update_cut(cut_id, feed.position, [(first, feed.position)], [])
        if number % 4 == 0:
            archive.flush(filing=False)
            tell("noted", f"{cut_id} {number}")
        time.sleep(max(0.0, begin + 0.1 * number - time.monotonic()))


def read_diary(folder: Path, run: int) -> dict[str, list[str]]:
    """Return what was told, by word; a torn last line is left out."""
    told: dict[str, list[str]] = {}
    path = folder / f"diary{run}"
    for line in path.read_text().split("\n")[:-1] if path.exists() else []:
        word, what = line.split(" ", 1)
        told.setdefault(word, []).append(what)
    return told
