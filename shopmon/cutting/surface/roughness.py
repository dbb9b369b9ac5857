"""Ra, Rq, Rz, Rt and RSm of a profile, under ISO 21920-2/-3 or the older ISO 4287 and ISO 4288.

The two differ, so that every result says by which it was made (recalled, but for the tables of cut-offs):

* Ra, Rq: ISO 4287 takes each of five sampling lengths by itself and averages; ISO 21920-2 takes the whole
  evaluation length at once.
* Rz: highest peak plus deepest valley, averaged over five lengths, in both. (Before 1997: ten points.)
* Rt: over the whole evaluation length, in both.
* The cut-off: ISO 4288 by Ra, or by RSm where the surface is periodic, as milled walls with feed marks
  are; ISO 21920-3 by Rz with limits that lie higher.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from shopmon.cutting.nouns import require
from shopmon.cutting.surface.profile import Profile, long_waves, short_waves, without_form

Standard = Literal["ISO 21920", "ISO 4287"]
SECTIONS = 5
CUTOFFS_MM = (0.08, 0.25, 0.8, 2.5, 8.0)
SHORTEST_UM = {0.08: 2.5, 0.25: 2.5, 0.8: 2.5, 2.5: 8.0, 8.0: 25.0}  # λs, µm (recalled)
# upper limits of the ranges, µm or mm; the table of ISO 4288:1996 and that of ISO 21920-3
BY_RA_UM = (0.02, 0.1, 2.0, 10.0, np.inf)
BY_RZ_UM = (0.16, 0.8, 16.0, 80.0, np.inf)
BY_RSM_MM = (0.04, 0.13, 0.4, 1.3, 4.0)
COUNTED = 0.1  # of Rz: a peak or valley less high is none
MOSTLY_REGULAR = 0.25  # scatter of the spacings, relative, up to which feed marks are called periodic


@dataclass(frozen=True, kw_only=True)
class Heights:
    """Parameters of a profile about its own mean, µm."""

    Ra_um: float
    Rq_um: float
    Rt_um: float
    Rsk: float
    Rku: float


@dataclass(frozen=True, kw_only=True)
class Roughness:
    """What a profile measures.

    Attributes
    ----------
    cutoff_mm, evaluation_mm, sections
        λc (nesting index), the length that was taken, and how many sampling lengths it held.
    shortest_um
        λs; None where the points are too coarse to take out waves so short.
    RSm_mm
        Mean width of the profile's elements; None where there are fewer than two.
    periodic
        Whether the marks are regular.
    notes
        What was not as the standard asks for.
    """

    Ra_um: float
    Rq_um: float
    Rz_um: float
    Rt_um: float
    RSm_mm: float | None
    standard: Standard
    cutoff_mm: float
    shortest_um: float | None
    evaluation_mm: float
    sections: int
    periodic: bool
    notes: tuple[str, ...] = ()


def heights(values_um: np.ndarray) -> Heights:
    """Return the height parameters of one row of heights, about its mean.

    Examples
    --------
    >>> round(heights(np.sin(np.linspace(0, 20 * np.pi, 10000, endpoint=False))).Ra_um, 4)
    0.6366
    """
    away = np.asarray(values_um, dtype=float) - np.mean(values_um)
    rms = float(np.sqrt(np.mean(away**2)))
    scaled = away / rms if rms else away
    return Heights(
        Ra_um=float(np.mean(np.abs(away))),
        Rq_um=rms,
        Rt_um=float(np.ptp(away)),
        Rsk=float(np.mean(scaled**3)),
        Rku=float(np.mean(scaled**4)),
    )


def widths_mm(values_um: np.ndarray, spacing_mm: float, least_um: float) -> np.ndarray:
    """Return the widths of the profile's elements, from one rise through the mean to the next.

    A rise counts where a valley deeper than `least_um` came before it and a peak higher than that follows.
    """
    z = np.asarray(values_um, dtype=float)
    signs = np.where(z > least_um, 1, np.where(z < -least_um, -1, 0))
    told = np.flatnonzero(signs)
    rises = told[1:][(signs[told[1:]] == 1) & (signs[told[:-1]] == -1)]
    valleys = told[:-1][(signs[told[1:]] == 1) & (signs[told[:-1]] == -1)]
    places = []
    for first, last in zip(valleys, rises, strict=True):
        at = first + int(np.flatnonzero(z[first : last + 1] >= 0)[0])
        places.append(at - z[at] / (z[at] - z[at - 1]))
    return np.diff(np.array(places)) * spacing_mm


def roughness(
    profile: Profile,
    standard: Standard = "ISO 21920",
    *,
    cutoff_mm: float | None = None,
    form_degree: int = 1,
) -> Roughness:
    """Measure a profile.

    Parameters
    ----------
    profile
        As measured; its form is taken out here.
    standard
        By which the parameters and, where none is given, the cut-off are chosen.
    cutoff_mm
        λc; None chooses by the standard's table, as measured with it.
    form_degree
        See `shopmon.cutting.surface.profile.without_form`.

    Raises
    ------
    SettingError
        The profile is too short for any cut-off, or too coarse for the one given.
    """
    require(standard in ("ISO 21920", "ISO 4287"), f"{standard!r} is no standard known here.")
    level = without_form(profile, form_degree)
    if cutoff_mm is not None:
        return _measured(level, standard, cutoff_mm)
    usable = [each for each in CUTOFFS_MM if each >= 5 * level.spacing_mm and 2 * each <= level.length_mm]
    require(
        bool(usable),
        f"No cut-off fits {level.length_mm:.3g} mm with points {1000 * level.spacing_mm:.3g} µm apart.",
        "Measure 5.6 mm for ordinary milled walls.",
    )
    return _at_the_tables_cutoff(level, standard, usable)


def _at_the_tables_cutoff(level: Profile, standard: Standard, usable: list[float]) -> Roughness:
    """Measure, look the cut-off up for what was found, and measure anew until both agree.

    As ISO 4288 has it (clause 7, recalled): begin with an estimate, here the commonest cut-off; at the end
    one step shorter is tried as well, and kept if what it finds is of its own range. ISO 21920-3 goes by the
    limit on the drawing, for which the measured Rz stands here.
    """
    found = _measured(level, standard, min(usable, key=lambda each: abs(np.log(each / 0.8))))
    tried = {found.cutoff_mm: found}
    while (wanted := _table_cutoff_mm(found)) != found.cutoff_mm:
        nearest = min(usable, key=lambda each: abs(np.log(each / wanted)))
        if nearest in tried:
            note = f"The table asks for a cut-off of {wanted:g} mm; {found.cutoff_mm:g} mm was taken."
            return replace(found, notes=(*found.notes, note))
        found = tried[nearest] = _measured(level, standard, nearest)
    shorter = [each for each in usable if each < found.cutoff_mm]
    if standard == "ISO 4287" and shorter and shorter[-1] not in tried:
        other = _measured(level, standard, shorter[-1])
        if _table_cutoff_mm(other) == other.cutoff_mm:
            return other
    return found


def _table_cutoff_mm(found: Roughness) -> float:
    """Return the cut-off that the standard's table gives for what was measured."""
    if found.standard == "ISO 21920":
        value, limits = found.Rz_um, BY_RZ_UM
    elif found.periodic and found.RSm_mm is not None:
        value, limits = found.RSm_mm, BY_RSM_MM
    else:
        value, limits = found.Ra_um, BY_RA_UM
    return CUTOFFS_MM[min(int(np.searchsorted(limits, value)), len(CUTOFFS_MM) - 1)]


def _measured(level: Profile, standard: Standard, cutoff_mm: float) -> Roughness:
    shortest_um = SHORTEST_UM.get(cutoff_mm, 1000 * cutoff_mm / 300)
    notes = []
    if shortest_um >= 5000 * level.spacing_mm:
        level = long_waves(level, shortest_um / 1000)
    else:
        notes.append(f"Points are too far apart for the short-wave filter of {shortest_um:g} µm.")
        shortest_um = None
    rough = short_waves(level, cutoff_mm).heights_um
    off = round(cutoff_mm / 2 / level.spacing_mm)
    rough = rough[off : rough.size - off]
    each = round(cutoff_mm / level.spacing_mm)
    sections = min(rough.size // each, SECTIONS)
    require(
        sections >= 1,
        f"A profile of {level.length_mm:.3g} mm is too short for a cut-off of {cutoff_mm:g} mm.",
        f"Measure {cutoff_mm * (SECTIONS + 1):g} mm.",
    )
    if sections < SECTIONS:
        notes.append(f"The profile holds {sections} sampling lengths instead of {SECTIONS}.")
    start = (rough.size - sections * each) // 2
    rough = rough[start : start + sections * each]
    pieces = rough.reshape(sections, each)
    whole, parts = heights(rough), [heights(piece) for piece in pieces]
    rz = float(np.mean(pieces.max(axis=1) - pieces.min(axis=1)))
    widths = widths_mm(rough - rough.mean(), level.spacing_mm, COUNTED * rz)
    by_section = standard == "ISO 4287"
    return Roughness(
        Ra_um=float(np.mean([part.Ra_um for part in parts])) if by_section else whole.Ra_um,
        Rq_um=float(np.mean([part.Rq_um for part in parts])) if by_section else whole.Rq_um,
        Rz_um=rz,
        Rt_um=whole.Rt_um,
        RSm_mm=float(widths.mean()) if widths.size else None,
        standard=standard,
        cutoff_mm=cutoff_mm,
        shortest_um=shortest_um,
        evaluation_mm=sections * each * level.spacing_mm,
        sections=sections,
        periodic=bool(widths.size >= 4 and widths.std() < MOSTLY_REGULAR * widths.mean()),
        notes=tuple(notes),
    )
