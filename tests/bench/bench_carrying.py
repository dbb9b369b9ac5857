"""How fast a data folder is packed, checked and taken in, beside a plain copy of the same files."""

import os
import shutil
import sqlite3
import tempfile
import time
import uuid
from contextlib import closing
from pathlib import Path

from shopmon.records.carrying.backing_up import back_up_into
from shopmon.records.carrying.packing import pack
from shopmon.records.carrying.unpacking import unpack
from tests.records.carrying.filled import fill

RECORDINGS, MEGABYTES, CUTS = 40, 8, 5000


def main() -> None:
    """Print a table."""
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        root = fill(place / "data").root
        enlarge(root)
        sound = sum(path.stat().st_size for path in (root / "recordings").iterdir()) / 1e6
        log = (root / "shopmon.db").stat().st_size / 1e6
        print(f"{sound:.0f} MB of sound in {RECORDINGS} recordings, a log of {log:.0f} MB with {CUTS} cuts")
        works = {
            "plain copy of the folder": lambda: shutil.copytree(root, place / "copy"),
            "export with sound, read back": lambda: pack(root, place / "a.zip", with_audio=True),
            "export without sound": lambda: pack(root, place / "b.zip", with_audio=False),
            "import with sound": lambda: unpack(place / "a.zip", place / "new"),
            "the same import again": lambda: unpack(place / "a.zip", place / "new"),
            "first backup with sound": lambda: back_up_into(root, place / "stick", with_audio=True, keep=3),
            "second backup with sound": lambda: back_up_into(root, place / "stick", with_audio=True, keep=3),
        }
        for what, work in works.items():
            began, used = time.perf_counter(), time.process_time()
            work()
            took, used = time.perf_counter() - began, time.process_time() - used
            print(f"{what:32} {took:6.1f} s   {used:6.1f} s of the processor   {sound / took:7.0f} MB/s")


def enlarge(root: Path) -> None:
    """Add recordings of noise and many cuts; their rows are copies of those that are there."""
    with closing(sqlite3.connect(root / "shopmon.db")) as connection, connection:
        for table, count in (("recordings", RECORDINGS), ("cuts", CUTS), ("analyses", CUTS)):
            row = connection.execute(f"SELECT * FROM {table} ORDER BY sequence").fetchone()
            highest = connection.execute(f"SELECT max(sequence) FROM {table}").fetchone()[0] + 10**6
            names = [column[1] for column in connection.execute(f"PRAGMA table_info({table})")]
            for number in range(count):
                values = dict(zip(names, row, strict=True))
                values |= {"id": str(uuid.uuid4()), "sequence": highest + number}
                if table == "recordings":
                    values |= {"path": f"recordings/{values['id']}.flac", "features_path": None}
                    (root / values["path"]).write_bytes(os.urandom(MEGABYTES * 10**6))
                if table == "analyses":
                    values["result"] = '{"track": [' + "1.5, " * 800 + "1]}"
                marks = ", ".join("?" * len(names))
                connection.execute(f"INSERT INTO {table} VALUES ({marks})", list(values.values()))


if __name__ == "__main__":
    main()
