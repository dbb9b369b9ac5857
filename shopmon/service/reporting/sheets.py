"""Gathers what a report says: all that is known of a cut or of a part, and what could not be read."""

import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from shopmon import __version__
from shopmon.errors import SettingError
from shopmon.service.cuts.data import every_cut, safely
from shopmon.service.cuts.told import cut_for_pages
from shopmon.service.reporting.loudest import Sound, Spectrum, sound_of, spectrum_at_loudest
from shopmon.service.reporting.pictures import MOST_PICTURES, Picture, pictures_of
from shopmon.service.speeds.tool_and_job import TRIED, standing

MOST_CUTS = 500
DRAWN_CUTS = 12


@dataclass(frozen=True, kw_only=True)
class CutSheet:
    """One cut as a report tells it.

    Attributes
    ----------
    cut
        As the pages have it, with ``judgements``.
    figures
        Per frame (`shopmon.features/1`); None where there are none.
    tool, wear
        The tool of the register with its flank wear readings, as far as known.
    said, tried
        What people said of it, and how advice went that they tried, in order.
    analyses
        Every analysis, the original first.
    trouble
        Sentences: what could not be read or shown.
    """

    cut: dict[str, Any]
    figures: Mapping[str, Any] | None
    spectrum: Spectrum | None
    sound: Sound | None
    tool: Any
    wear: list[Any]
    pictures: list[Picture]
    said: list[dict]
    tried: list[dict]
    analyses: list[dict]
    trouble: list[str] = field(default_factory=list)
    made_at: float = 0.0
    program: str = __version__


@dataclass(frozen=True, kw_only=True)
class PartSheet:
    """All cuts of a part: newest last; ``drawn`` are sheets of the first that rang."""

    part: str
    cuts: list[dict[str, Any]]
    more: bool
    drawn: list[CutSheet]
    pictures: list[Picture]
    trouble: list[str]
    made_at: float = 0.0
    program: str = __version__


def cut_sheet(log, cut_id: str, *, with_sound: bool = False, with_pictures: bool = True) -> CutSheet | None:
    """Gather a cut; None where there is none.

    Parameters
    ----------
    log
        An archive, or `shopmon.records.looking.Looking`.
    with_sound
        Take the sound into the sheet.
    """
    row = log.cut(cut_id)
    if row is None:
        return None
    cut = cut_for_pages(row)
    trouble: list[str] = []
    figures = safely(log, cut_id)
    if figures is None:
        trouble.append(
            "There are no figures along this cut, or their file is damaged; its events are still told."
        )
    spectrum, sound = _heard(log, cut, with_sound, trouble)
    tool = _tool_of(log, cut)
    pictures, left_out = pictures_of(log, cut_id, tool) if with_pictures else ([], [])
    judgements = standing(cut.get("judgements") or [])
    return CutSheet(
        cut=cut,
        figures=figures,
        spectrum=spectrum,
        sound=sound,
        tool=tool,
        wear=log.register.wear(tool.id) if tool else [],
        pictures=pictures,
        said=[row for row in judgements if row["verdict"] not in TRIED],
        tried=[row for row in judgements if row["verdict"] in TRIED],
        analyses=log.analyses(cut_id),
        trouble=trouble + left_out,
        made_at=time.time(),
    )


def _heard(log, cut: dict, with_sound: bool, trouble: list[str]) -> tuple[Spectrum | None, Sound | None]:
    path = log.audio_path(cut["id"])
    if path is None:
        if with_sound:
            trouble.append("The sound was asked for, and it is not there (any more).")
        return None, None
    spectrum, sound = None, None
    try:
        spectrum = spectrum_at_loudest(path, cut)
        if with_sound:
            sound = sound_of(path, cut)
    except (OSError, RuntimeError, ValueError):  # what the library raises at a damaged recording
        trouble.append("The recording is damaged: it cannot be read, so no spectrum of it is shown.")
    return spectrum, sound


def _tool_of(log, cut: dict[str, Any]):
    tool_id = cut["context"].get("end_mill_id")
    return log.register.tool(tool_id) if tool_id else None


def part_sheet(log, part: str) -> PartSheet:
    """Gather all cuts of a part.

    Raises
    ------
    SettingError
        No cut is known of it.
    """
    found = []
    for cut in every_cut(log, {"part": part}):
        if len(found) == MOST_CUTS:
            break
        found.append(cut)
    if not found:
        raise SettingError(
            f"No cut of the part '{part[:80]}' is known.", "Say the part on Now, or at the cut."
        )
    more = len(found) == MOST_CUTS
    ringing = [cut for cut in reversed(found) if cut["chatter"]][:DRAWN_CUTS]
    drawn = [cut_sheet(log, cut["id"], with_pictures=False) for cut in ringing]
    pictures = [picture for cut in found[:50] for picture in pictures_of(log, cut["id"], None)[0]]
    trouble = [f"Only the newest {MOST_CUTS} cuts are listed."] if more else []
    hidden = sum(bool(cut["chatter"]) for cut in found) - len(ringing)
    if hidden:
        trouble.append(f"Cuts that rang and are listed, but not drawn: {hidden}.")
    return PartSheet(
        part=part,
        cuts=found[::-1],
        more=more,
        drawn=[each for each in drawn if each],
        pictures=pictures[:MOST_PICTURES],
        trouble=trouble,
        made_at=time.time(),
    )
