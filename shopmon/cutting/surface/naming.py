"""From a measured spacing of marks back to what made them.

The wall is sampled once per tooth (`shopmon.cutting.surface.marks`), so one spacing λ fits many tones: every
k·f_tp ± vf/λ. Only what else is known can choose among them: tones that were heard, and the slant of the
marks, whose spacing along the tool's axis tells k. What cannot be chosen stays a list.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import atan, cos, degrees, gcd, hypot, radians

from shopmon.cutting.nouns import require, require_not_negative, require_positive
from shopmon.cutting.surface.marks import Folded, WallCut, folded

AGREES = 2.5  # standard uncertainties
LEAST_COSINE = 0.05
LEAST_SHARE = 0.002  # a spacing is never taken to be known better
FROM_HZ, TO_HZ = (
    150.0,
    8000.0,
)  # where tools, holders, spindles and parts of such machines ring; our judgement
SLANT_U_DEG = 4.0  # of the direction of marks in a picture, against the feed as it was given
OVERTONES = 6  # of a tone that was heard; further ones would agree with any spacing
ONE_TOOTH_OVERTONES = 2
BY_HAND_OVERTONES = 3  # of a single spacing, measured less finely
PLAIN_SLANT_DEG = 12.0  # marks of teeth are upright within this
KINDS = ("tooth", "turn", "part-of-turn", "chatter", "slow")


@dataclass(frozen=True, kw_only=True)
class Heard:
    """A chatter tone that was heard in the cut, with its standard uncertainty."""

    frequency_hz: float
    frequency_u_hz: float = 2.0


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One thing that a spacing may be.

    Attributes
    ----------
    kind
        ``"tooth"`` (each tooth leaves a mark), ``"turn"`` (it repeats once a turn: one tooth stands out),
        ``"part-of-turn"`` (several alike a turn, not every tooth), ``"chatter"``, ``"slow"`` (a vibration
        far below tooth passing, as of a drive or the floor).
    expected_mm
        Spacing that this would leave; the measured one for a tone that nobody heard.
    off
        Measured less expected spacing, in standard uncertainties of both together; 0 for tones not heard.
    frequency_hz, frequency_u_hz
        Of chatter and slow vibrations.
    multiple, overtone
        k of chatter and its overtone m; marks per turn otherwise.
    one_tooth
        True where the fold is by the rotation.
    heard
        True where such a tone was heard in the cut.
    slant_deg
        Of the marks that this leaves, where a spacing square to the marks was compared by it; else None.
    """

    kind: str
    expected_mm: float
    off: float = 0.0
    frequency_hz: float | None = None
    frequency_u_hz: float | None = None
    multiple: int = 0
    overtone: int = 1
    one_tooth: bool = False
    heard: bool = False
    slant_deg: float | None = None


@dataclass(frozen=True, kw_only=True)
class Named:
    """What a spacing may be, likeliest first.

    Attributes
    ----------
    name
        ``"tooth"``, ``"turn"``, ``"part-of-turn"``, ``"chatter"``, ``"either"`` (two of these, and the
        spacing cannot tell them apart), ``"unheard"`` (none of the teeth's marks and no tone that was heard:
        one of `readings`, if any) or ``"none"`` (nothing that this cut could leave).
    readings
        All that agree.
    """

    name: str
    readings: tuple[Reading, ...]


def name_spacing(
    cut: WallCut,
    spacing_mm: float,
    spacing_u_mm: float = 0.0,
    *,
    heard: tuple[Heard, ...] = (),
    slant_deg: float | None = None,
    overtones: int = OVERTONES,
    square_to_marks: bool = False,
) -> Named:
    """Say what marks of a spacing along the feed may be.

    Parameters
    ----------
    cut
        The cut that made the wall.
    spacing_mm, spacing_u_mm
        Along the feed, and its standard uncertainty.
    heard
        Chatter of this cut.
    slant_deg
        Of the marks against the tool's axis; None where not measured.
    overtones
        How many of a tone that was heard may count.
    square_to_marks
        The spacing was measured square to the marks, whose direction against the feed nobody knows: a tone is
        then expected to leave less, by its slant, where the helix is known.

    Raises
    ------
    SettingError
        A spacing that cannot be.

    Examples
    --------
    >>> cut = WallCut(rpm=12000, flutes=3, feed_mm_min=1800)
    >>> name_spacing(cut, 0.151, 0.001).name
    'turn'
    >>> name_spacing(cut, 0.129, 0.001, heard=(Heard(frequency_hz=1432.6),)).name
    'chatter'
    """
    require_positive("spacing_mm", spacing_mm)
    require_not_negative("spacing_u_mm", spacing_u_mm)
    require(slant_deg is None or -90 <= slant_deg <= 90, "A slant lies between -90 and 90 degrees.")
    spacing_u_mm = max(spacing_u_mm, LEAST_SHARE * spacing_mm)
    upright = slant_deg is None or abs(slant_deg) <= PLAIN_SLANT_DEG
    plain = _of_the_teeth(cut, spacing_mm, spacing_u_mm) if upright else []
    known = _of_what_was_heard(cut, spacing_mm, spacing_u_mm, heard, slant_deg, square_to_marks)
    known = [each for each in known if each.overtone <= overtones]
    others = _not_heard(cut, spacing_mm, spacing_u_mm, slant_deg)
    if plain:  # what the teeth leave in any case is believed before an overtone
        known = [each for each in known if each.overtone == 1]
    if plain and known:
        return Named(name="either", readings=(*known, *plain))
    if known:
        return Named(name="chatter", readings=tuple(known))
    if plain:
        return Named(name=plain[0].kind, readings=(*plain, *_halved(cut, plain)))
    return Named(name="unheard" if others else "none", readings=tuple(others))


def _of_the_teeth(cut: WallCut, spacing_mm: float, spacing_u_mm: float) -> list[Reading]:
    """List marks that repeat with the turn: once, several times, or once a tooth."""
    found = []
    for marks in range(1, cut.flutes + 1):
        expected = cut.feed_per_turn_mm / marks
        off = (spacing_mm - expected) / hypot(spacing_u_mm, expected * hypot(cut.feed_share, cut.rpm_share))
        # two waves a turn of three teeth can only be an overtone of what repeats once a turn
        kind = "tooth" if marks == cut.flutes else "turn" if gcd(marks, cut.flutes) == 1 else "part-of-turn"
        if abs(off) <= AGREES:
            found.append(Reading(kind=kind, expected_mm=expected, off=off, multiple=marks))
    return sorted(found, key=lambda each: (each.kind == "part-of-turn", abs(each.off)))


def _halved(cut: WallCut, plain: list[Reading]) -> list[Reading]:
    """With an even number of flutes, chatter in which each tooth repeats every second pass looks the same."""
    alike = [each for each in plain if 2 * each.multiple == cut.flutes]
    return [
        Reading(
            kind="chatter",
            expected_mm=each.expected_mm,
            off=each.off,
            frequency_hz=(k + 0.5) * cut.tooth_passing_hz,
            frequency_u_hz=(k + 0.5) * cut.tooth_passing_hz * cut.rpm_share,
            multiple=k,
        )
        for each in alike
        for k in range(8)
        if FROM_HZ <= (k + 0.5) * cut.tooth_passing_hz <= TO_HZ
    ]


def _of_what_was_heard(
    cut: WallCut,
    spacing_mm: float,
    spacing_u_mm: float,
    heard: tuple[Heard, ...],
    slant_deg: float | None,
    square_to_marks: bool,
) -> list[Reading]:
    """List the tones that were heard and would leave this spacing, folded by teeth or by the turn."""
    found = []
    for tone in heard:
        for marks, one_tooth in _folds(cut, tone):
            slant = marks.slant_deg if square_to_marks else None
            stretch = 1.0 if slant is None else 1 / max(cos(radians(slant)), LEAST_COSINE)
            off = _off_in_uncertainties(cut, marks, tone, stretch * spacing_mm, stretch * spacing_u_mm)
            if abs(off) <= AGREES and _slant_agrees(slant_deg, marks.slant_deg):
                found.append(
                    Reading(
                        kind="chatter",
                        expected_mm=marks.spacing_mm,
                        off=off,
                        frequency_hz=tone.frequency_hz,
                        frequency_u_hz=tone.frequency_u_hz,
                        multiple=marks.multiple,
                        overtone=marks.overtone,
                        one_tooth=one_tooth,
                        heard=True,
                        slant_deg=slant,
                    )
                )
    return sorted(found, key=lambda each: (each.overtone + each.one_tooth, abs(each.off)))


def _folds(cut: WallCut, tone: Heard) -> Iterator[tuple[Folded, bool]]:
    """Go through what a tone may leave: with each overtone the multiples below and above it."""
    for one_tooth in (False, True) if cut.flutes > 1 else (False,):
        sampled_hz = cut.rotation_hz if one_tooth else cut.tooth_passing_hz
        for overtone in range(1, 1 + (ONE_TOOTH_OVERTONES if one_tooth else OVERTONES)):
            below = int(overtone * tone.frequency_hz / sampled_hz)
            for multiple in (below, below + 1):
                yield (
                    folded(
                        cut,
                        tone.frequency_hz,
                        frequency_u_hz=tone.frequency_u_hz,
                        one_tooth=one_tooth,
                        overtone=overtone,
                        multiple=multiple,
                    ),
                    one_tooth,
                )


def _off_in_uncertainties(cut, marks, tone: Heard, spacing_mm: float, spacing_u_mm: float) -> float:
    """Compare marks passing per second, which stay finite where the spacing does not."""
    measured = cut.feed_mm_s / spacing_mm
    sampled_u_hz = abs(marks.overtone * tone.frequency_hz - marks.off_hz) * cut.rpm_share
    of_spacing = measured * hypot(spacing_u_mm / spacing_mm, cut.feed_share)
    return (abs(marks.off_hz) - measured) / hypot(
        of_spacing, marks.overtone * tone.frequency_u_hz, sampled_u_hz
    )


def _slant_agrees(measured_deg: float | None, expected_deg: float | None) -> bool:
    if measured_deg is None or expected_deg is None:
        return True
    return abs(abs(measured_deg) - expected_deg) <= AGREES * SLANT_U_DEG


def _not_heard(
    cut: WallCut, spacing_mm: float, spacing_u_mm: float, slant_deg: float | None
) -> list[Reading]:
    """List tones that nobody heard but that would leave this spacing; none finer than the teeth can."""
    passing_hz, sampled_hz = cut.feed_mm_s / spacing_mm, cut.tooth_passing_hz
    share = hypot(spacing_u_mm / spacing_mm, cut.feed_share)
    if passing_hz > sampled_hz * (1 + AGREES * share):
        return []
    slow = Reading(
        kind="slow", expected_mm=spacing_mm, frequency_hz=passing_hz, frequency_u_hz=passing_hz * share
    )
    found = [slow] if passing_hz < FROM_HZ else []
    for multiple in range(int(TO_HZ / sampled_hz) + 2):
        for sign in (-1, 1):
            frequency = multiple * sampled_hz + sign * passing_hz
            if FROM_HZ <= frequency <= TO_HZ and _slant_agrees(
                slant_deg, _slant_of(cut, spacing_mm, multiple)
            ):
                spread = hypot(passing_hz * share, multiple * sampled_hz * cut.rpm_share)
                chatter = replace(
                    slow, kind="chatter", frequency_hz=frequency, frequency_u_hz=spread, multiple=multiple
                )
                found.append(chatter)
    return found


def _slant_of(cut: WallCut, spacing_mm: float, multiple: int) -> float | None:
    lag = cut.turns_per_mm_of_axis
    if lag is None:
        return None
    return degrees(atan(spacing_mm * abs(lag) * multiple * cut.flutes))
