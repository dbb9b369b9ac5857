"""Photographs for a report: read whole, or left out with a reason."""

import base64
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from shopmon.records.photos import LARGEST_BYTES, kind_of, pixels_of

MOST_PICTURES = 8
MOST_BYTES = 24 * 2**20
MOST_PIXELS = 40_000_000


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture with its words; ``address`` is a data URI, ``found`` says what was measured in it."""

    address: str
    note: str
    of: str
    t: float | None
    found: str = ""


def pictures_of(log, cut_id: str, tool: Any) -> tuple[list[Picture], list[str]]:
    """Return the pictures of a cut, then of its tool, and sentences about those that are left out."""
    measured = {row["id"]: row["reading"] for row in log.cut_photos(cut_id)}
    wanted = [
        (log.path_of(row["path"]), row["note"], "of the cut", row["t"], _found(measured.get(row["id"])))
        for row in log.photographs(cut_id)
    ]
    if tool is not None:
        for photo in log.register.photos(tool.id):
            wanted.append((log.path_of(photo.path), photo.note, f"of {tool.label}", photo.t, ""))
    found: list[Picture] = []
    trouble: list[str] = []
    room, left = MOST_BYTES, 0
    for path, note, of, t, said in wanted:
        address, why = _embedded(path)
        if why:
            trouble.append(why)
        elif len(found) >= MOST_PICTURES or len(address) > room:
            left += 1
        else:
            room -= len(address)
            found.append(Picture(address=address, note=note, of=of, t=t, found=said))
    if left:
        trouble.append(f"Pictures that are not shown, to keep the report small: {left}.")
    return found, trouble


def _found(reading: dict[str, Any] | None) -> str:
    result = (reading or {}).get("result") or {}
    return str(result.get("text") or "")


def _embedded(path: Path | None) -> tuple[str, str]:
    """Return a data URI, or why there is none."""
    try:
        if path is None or path.stat().st_size > LARGEST_BYTES:
            return "", "A picture is larger than pictures are kept, and left out."
        content = path.read_bytes()
    except OSError:
        return "", "A picture is not on the disk any more."
    media_type = kind_of(content)
    if media_type is None:
        return "", "A picture's file is damaged, and left out."
    size = pixels_of(content)
    if size is None or size[0] * size[1] > MOST_PIXELS or 0 in size:
        return "", "A picture has more points than a page can show, or none, and is left out."
    return f"data:{media_type};base64,{base64.b64encode(content).decode()}", ""
