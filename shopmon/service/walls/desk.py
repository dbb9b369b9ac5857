"""The marks on the walls of logged cuts: what to expect, what was measured, and the photographs."""

from math import inf
from pathlib import Path
from typing import Any, Protocol

from shopmon.capture.picture_file import read_picture
from shopmon.cutting.nouns import MOST_MODE_HZ, MOST_RPM
from shopmon.cutting.surface.marks import MOST_FEED_MM_MIN, wall_cut
from shopmon.cutting.surface.naming import Heard
from shopmon.errors import SettingError, StoreError
from shopmon.records.tools.fields import NOTE_LIMIT, number, text, whole
from shopmon.service.walls.check import (
    MOST_TONES,
    MOST_UM_PER_PIXEL,
    SCALE_SHARE,
    SurfaceQuestion,
    check_picture,
    check_spacing,
    expect,
)

TOLD_SPEED_SHARE = 0.01  # a speed that was only told is a percent off
TONE_U_HZ = 3.0
MEASURED_SHARE = 0.02  # of a spacing measured by hand, where no uncertainty was given
SAME_TONE_HZ = 4.0
ABOUT_THE_CUT = {
    "rpm": number(10, MOST_RPM),
    "flutes": whole(1, 50),
    "feed_mm_min": number(0.1, MOST_FEED_MM_MIN),
    "chatter_hz": number(1, MOST_MODE_HZ),
    "diameter_mm": number(0.05, 1000),
    "helix_deg": number(-80, 80),
}
ABOUT_THE_PICTURE = {
    "um_per_pixel": number(1e-3, MOST_UM_PER_PIXEL),
    "scale_share": number(1e-4, 0.5),
    "feed_direction_deg": number(-360, 360),
}
ABOUT_THE_SPACING = {"spacing_mm": number(1e-5, 1000), "spacing_u_mm": number(0, 1000)}


class WallRows(Protocol):
    """What the desk asks of the archive."""

    def add_cut_photo(self, cut_id: str, content: bytes, note: str = "") -> str: ...
    def add_photo_reading(self, photo: dict[str, Any], question: dict, result: dict) -> None: ...
    def cut_photos(self, cut_id: str) -> list[dict]: ...
    def cut_photo(self, photo_id: str) -> dict | None: ...
    def photo_file(self, photo: dict[str, Any]) -> Path | None: ...


class WallDesk:
    """Answers the section *Mark on the wall*.

    Parameters
    ----------
    rows
        Of the archive.
    """

    def __init__(self, rows: WallRows):
        self._rows = rows

    def expect(self, cut: dict[str, Any], told: dict[str, Any], units: str) -> dict:
        """Say what a cut should have left; ``shopmon.surface/1``.

        Parameters
        ----------
        cut
            As the pages have it.
        told
            What a person says otherwise: the names of `ABOUT_THE_CUT`.
        units
            Of the sentences.

        Raises
        ------
        SettingError
            A value that cannot be.
        """
        return expect(_question(cut, _checked(told, ABOUT_THE_CUT), units))

    def spacing(self, cut: dict[str, Any], told: dict[str, Any], units: str) -> dict:
        """Name a spacing that was measured by hand: ``spacing_mm``, and what `expect` takes."""
        values = _checked(told, ABOUT_THE_CUT | ABOUT_THE_SPACING)
        spacing = values.get("spacing_mm")
        if spacing is None:
            raise SettingError(
                "No spacing was given.", "Measure from mark to mark, over ten marks if you can."
            )
        spread = values.get("spacing_u_mm")
        return check_spacing(
            spacing, MEASURED_SHARE * spacing if spread is None else spread, _question(cut, values, units)
        )

    def photos(self, cut_id: str) -> list[dict]:
        """Return the photographs of a cut, newest first."""
        return self._rows.cut_photos(cut_id)

    def photo(self, photo_id: str) -> dict | None:
        """Return one photograph; None where there is none."""
        return self._rows.cut_photo(photo_id)

    def photo_file(self, photo: dict[str, Any]) -> Path | None:
        """Return where a photograph lies, None where it is gone."""
        return self._rows.photo_file(photo)

    def add_photo(self, cut_id: str, content: bytes, note: str = "") -> str:
        """Keep a photograph with a cut, once it is known that it can be opened; return its id.

        Raises
        ------
        SettingError, RecordingError
            It is no picture, damaged, or too large, or the note is too long.
        """
        note = text(NOTE_LIMIT)("note", note) or ""
        read_picture(content)
        return self._rows.add_cut_photo(cut_id, content, note)

    def measure(self, photo: dict[str, Any], cut: dict[str, Any], told: dict[str, Any], units: str) -> dict:
        """Measure the marks in a photograph and keep the answer with it; ``shopmon.surface/1``.

        Parameters
        ----------
        told
            ``um_per_pixel``, and perhaps ``scale_share``, ``feed_direction_deg``, ``region_px`` and what
            `expect` takes.

        Raises
        ------
        SettingError, RecordingError, StoreError
            A value that cannot be, a picture that cannot be read, or one that is gone.
        """
        told = dict(told)
        region = _region(told.pop("region_px", None))
        values = _checked(told, ABOUT_THE_CUT | ABOUT_THE_PICTURE)
        path = self._rows.photo_file(photo)
        if path is None:
            raise StoreError("The photograph is not on the disk any more.", "Take it again.")
        question = _question(cut, values, units)
        result = check_picture(read_picture(path, name="The photograph", region_px=region), question)
        kept = {name: value for name, value in values.items() if value is not None}
        self._rows.add_photo_reading(photo, kept | ({"region_px": list(region)} if region else {}), result)
        return result


def known_of(cut: dict[str, Any]) -> dict[str, Any]:
    """Return what a cut's log knows of speed, flutes, feed, tool and chatter; None where it does not."""
    context = cut["context"]
    return {
        "rpm": cut["rpm"] or context.get("nominal_rpm"),
        "flutes": context.get("flutes"),
        "feed_mm_min": context.get("feed_mm_min"),
        "diameter_mm": context.get("diameter_mm"),
        "helix_deg": context.get("helix_deg"),
    }


def tones_of(cut: dict[str, Any]) -> list[float]:
    """Return the frequencies of a cut's chatter, loudest first, each once."""
    known = [span for span in cut["chatter"] if span["frequency_hz"]]  # not known of a cut that broke off
    known.sort(key=lambda span: -inf if span["level_db"] is None else span["level_db"], reverse=True)
    found: list[float] = []
    for span in known:
        if all(abs(span["frequency_hz"] - each) > SAME_TONE_HZ for each in found):
            found.append(span["frequency_hz"])
    return found[:MOST_TONES]


def _question(cut: dict[str, Any], told: dict[str, Any], units: str) -> SurfaceQuestion:
    known = known_of(cut)
    heard = bool(cut["rpm"]) and told.get("rpm") is None
    known |= {name: told[name] for name in known if told.get(name) is not None}
    tones = [told["chatter_hz"]] if told.get("chatter_hz") is not None else tones_of(cut)
    return SurfaceQuestion(
        um_per_pixel=told.get("um_per_pixel"),
        scale_share=told.get("scale_share") or SCALE_SHARE,
        feed_direction_deg=told.get("feed_direction_deg"),
        cut=wall_cut(known | ({} if heard else {"rpm_share": TOLD_SPEED_SHARE})),
        heard=tuple(Heard(frequency_hz=each, frequency_u_hz=TONE_U_HZ) for each in tones),
        units=units,
    )


def _checked(told: dict[str, Any], takes: dict[str, Any]) -> dict[str, Any]:
    unknown = sorted(set(told) - set(takes))
    if unknown:
        raise SettingError(f"'{unknown[0][:40]}' is not known here.", f"Known: {', '.join(takes)}.")
    return {name: takes[name](name, value) for name, value in told.items()}


def _region(value: Any) -> tuple[int, int, int, int] | None:
    if value is None:
        return None
    good = isinstance(value, list) and len(value) == 4
    if not good or not all(isinstance(each, int) and not isinstance(each, bool) for each in value):
        raise SettingError("The part of the picture is no list of four whole numbers.", "Choose it again.")
    return tuple(value)
