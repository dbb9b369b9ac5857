"""A data folder with sound, figures, tools, a photograph, a program and rows of every kind."""

import uuid
from dataclasses import dataclass
from pathlib import Path

from shopmon.records.archive import Archive
from tests.records.shop import Shop
from tests.records.synthetic import Feed, stream

PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(256))
PROGRAM = b"%\nO1\nT1 M6\nS12000 M3\nG1 X10 F900\nM30\n%\n"


@dataclass(frozen=True)
class Filled:
    """Where it is, and the ids of what is in it."""

    root: Path
    cut_ids: list[str]
    tool_id: str
    other_tool_id: str
    photo_id: str
    program_id: str


def opened(root: Path) -> Archive:
    """Open an archive as a monitor would."""
    return Archive.open(root, budget_bytes=10**9, reserve_bytes=0)


def fill(root: Path) -> Filled:
    """Make such a folder and leave it."""
    archive = opened(root)
    archive.set_clock(1_790_000_000.0, "phone")
    feed = Feed(archive, stream(stream_id=str(uuid.uuid4())))
    shop = Shop(archive)
    tool_id, other = shop.mill("plum #3"), shop.mill("plum #4")
    photo_id = archive.register.add_photo(tool_id, PNG, "the corner")
    holder = archive.register.add("holders", {"label": "collet A", "kind": "collet"})
    archive.register.assemble(tool_id, {"holder_id": holder, "stickout_mm": 24})
    archive.register.read_wear(tool_id, {"VB_mm": 0.05})
    cut_ids = [str(uuid.uuid4()) for _ in range(2)]
    feed.to(20)
    for number, cut_id in enumerate(cut_ids):
        feed.cut(cut_id, 22 + 40 * number, 30 + 40 * number)
        feed.to(45 + 40 * number)
    archive.mark_moment(str(uuid.uuid4()), feed.info.stream_id, 25_000, "at the wall")
    silent = shop.cut(tool_id, 30.0, chatter_s=2.0, material="7075", part="brake lever")
    archive.register.credit([silent], other, "the other one")
    archive.add_judgement(silent, "no chatter", "it was the door")
    archive.add_analysis(silent, {"state": "chatter", "advice": []}, "1", "other")
    archive.set_value("preferences", {"rejected": [1432.6]}, "touched")
    archive.add_device(str(uuid.uuid4()), "phone", "secret-hash", "person")
    program_id = str(uuid.uuid4())
    archive.programs.add(program_id, "lever.nc", PROGRAM, {"sections": []})
    archive.add_belief(
        "key", {"context": {}, "learner": "1", "prior": {}, "trials": [], "summary": {}, "state": {}}
    )
    archive.flush()
    archive.close()
    return Filled(root, [*cut_ids, silent], tool_id, other, photo_id, program_id)
