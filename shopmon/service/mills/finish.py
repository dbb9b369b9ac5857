"""The finish of a measured profile, beside what geometry alone leaves: one answer for page and command."""

import re
import tempfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from shopmon.capture.profile_file import read_profile
from shopmon.cutting.finishing.marks import floor_um, wall_um
from shopmon.cutting.nouns import require, require_positive
from shopmon.cutting.surface.roughness import Standard, roughness
from shopmon.cutting.surface.theory import against_theory

SCHEMA = "shopmon.roughness/1"
WALL, FLOOR = "wall", "floor"
SUFFIX = re.compile(r"\.[A-Za-z0-9]{1,8}")


@dataclass(frozen=True, kw_only=True)
class Pass:
    """The pass that made a surface, as far as its marks follow from it.

    Attributes
    ----------
    surface
        ``wall`` or ``floor``.
    feed_mm_min, rpm, flutes
        They make the feed per tooth.
    diameter_mm, milling
        Of a wall.
    corner_radius_mm
        Of a floor.
    """

    surface: str
    feed_mm_min: float
    rpm: float
    flutes: int
    diameter_mm: float | None = None
    milling: str = "climb"
    corner_radius_mm: float | None = None

    @property
    def feed_per_tooth_mm(self) -> float:
        """Feed per tooth."""
        require_positive("The feed", self.feed_mm_min)
        require_positive("The speed", self.rpm)
        return self.feed_mm_min / (self.rpm * self.flutes)

    def marks_um(self) -> float:
        """Return the height of the feed marks, every tooth alike.

        Raises
        ------
        SettingError
            Something that they follow from is not known, or cannot be.
        """
        require(self.surface in (WALL, FLOOR), "A surface is a wall or a floor.", "Choose one of them.")
        fz = self.feed_per_tooth_mm
        if self.surface == WALL:
            require(self.diameter_mm is not None, "The diameter is not known.", "Say the tool's type.")
            return wall_um(fz, self.flutes, self.diameter_mm, self.milling)
        known = self.corner_radius_mm is not None and self.corner_radius_mm > 0
        require(known, "The corner radius is not known, or sharp.", "Say it with the tool's type.")
        return floor_um(fz, self.corner_radius_mm)


def profile_finish(
    path: Path,
    *,
    standard: Standard = "ISO 21920",
    unit: str = "µm",
    spacing_mm: float | None = None,
    column: str | None = None,
    cutoff_mm: float | None = None,
    bent: bool = False,
    theory_um: float | None = None,
    made_by: Pass | None = None,
) -> dict[str, Any]:
    """Return ``shopmon.roughness/1`` of a profile in a file.

    Parameters
    ----------
    path, unit, spacing_mm, column
        As for `shopmon.capture.profile_file.read_profile`.
    standard, cutoff_mm, bent
        As for `shopmon.cutting.surface.roughness.roughness`; bent takes out a curve.
    theory_um, made_by
        What geometry alone leaves, or the pass it follows from; None for no comparison.

    Raises
    ------
    RecordingError, SettingError
        It cannot be read or measured.
    """
    profile = read_profile(path, spacing_mm=spacing_mm, unit=unit, column=column)
    found = roughness(profile, standard, cutoff_mm=cutoff_mm, form_degree=2 if bent else 1)
    report: dict[str, Any] = {"schema": SCHEMA, **asdict(found), "notes": list(found.notes)}
    if made_by is not None:
        theory_um = made_by.marks_um()
    if theory_um is None:
        return report
    marks: dict[str, Any] = {}
    if made_by is not None and found.periodic:
        marks = {"RSm_mm": found.RSm_mm, "feed_per_tooth_mm": made_by.feed_per_tooth_mm}
        marks["flutes"] = made_by.flutes
    beside = against_theory(found.Rz_um, theory_um, **marks)
    report |= {"theory_um": theory_um, "times_theory": beside.times}
    report["theory"] = [f"Rz is {beside.height}", *([beside.width] if beside.width else [])]
    return report


def upload_finish(name: str, content: bytes, **how: Any) -> dict[str, Any]:
    """Return the same of a profile that was sent; `name` tells its kind by its ending."""
    suffix = Path(name).suffix
    known = bool(SUFFIX.fullmatch(suffix))
    require(known, "The file has no ending that tells its kind.", "Send .csv, .sdf or .x3p.")
    with tempfile.TemporaryDirectory(prefix="shopmon-") as folder:
        path = Path(folder) / f"profile{suffix}"
        path.write_bytes(content)
        return profile_finish(path, **how)


def in_words(report: Mapping[str, Any]) -> list[str]:
    """Return the sentences that say what was measured, by which standard, and what it means."""
    width = "" if report["RSm_mm"] is None else f"  RSm {report['RSm_mm']:.3g} mm"
    heights = "  ".join(f"{name} {report[f'{name}_um']:.3g}" for name in ("Ra", "Rq", "Rz", "Rt"))
    short = f", λs {report['shortest_um']:g} µm" if report["shortest_um"] else ""
    taken = f"By {report['standard']}: cut-off {report['cutoff_mm']:g} mm{short}, over "
    lines = [f"{heights} µm{width}", f"{taken}{report['evaluation_mm']:.3g} mm."]
    return [*lines, *report["notes"], *report.get("theory", ())]
