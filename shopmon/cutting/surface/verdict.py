"""What several families of marks on one wall say together."""

from dataclasses import dataclass, replace
from math import cos, radians

from shopmon.cutting.surface.marks import WallCut
from shopmon.cutting.surface.naming import (
    BY_HAND_OVERTONES,
    LEAST_COSINE,
    OVERTONES,
    Heard,
    Named,
    name_spacing,
)

ALONG_FEED_DEG = 65.0  # marks whose distance is measured nearly square to the feed
SURE = 0.95
FINER_SHARE = 0.01  # a part of another spacing, within this
FINER_DEG = 3.0
RUNOUT_SHARE = 0.1  # of the strength of tooth marks: weaker signs of the turn do not make it runout
NO_MEANING = ("unheard", "none", "not-named")
PLAIN = ("tooth", "turn", "part-of-turn")


@dataclass(frozen=True, kw_only=True)
class Measured:
    """Marks as a picture or a rule showed them.

    Attributes
    ----------
    period_mm, period_u_mm
        From mark to mark, square to them, and its standard uncertainty, that of the scale included.
    direction_deg
        In which the period is measured; None of marks that were measured along the feed with a rule.
    strength, certainty
        Share of the contrast; that the marks are there.
    """

    period_mm: float
    period_u_mm: float
    direction_deg: float | None = None
    strength: float = 1.0
    certainty: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Explained:
    """Marks with what they may be.

    Attributes
    ----------
    measured
        As they came.
    spacing_mm, spacing_u_mm
        Along the feed; where its direction is not known, by the slant of a tone heard, else the period.
    slant_deg
        Of the marks against the tool's axis, None where the feed's direction is not known.
    named
        None where nothing is known of the cut, or where the marks run along the feed.
    finer
        True where the spacing is a whole part of another one's on the same wall: the shape of those marks,
        seen as a wave of its own.
    """

    measured: Measured
    spacing_mm: float
    spacing_u_mm: float
    slant_deg: float | None
    named: Named | None
    finer: bool = False

    @property
    def name(self) -> str:
        """Name of the marks; ``"along-feed"``, ``"finer"`` and ``"not-named"`` beside those of `Named`."""
        if self.slant_deg is not None and abs(self.slant_deg) > ALONG_FEED_DEG:
            return "along-feed"
        name = self.named.name if self.named else "not-named"
        return "finer" if self.finer and name in NO_MEANING else name


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """What a wall shows.

    Attributes
    ----------
    name
        As of `Explained`, or ``"cannot-tell"`` where there are no marks.
    main
        The marks that speak for it loudest, None where there are none.
    marks
        All, strongest first.
    feed_direction_deg
        As it was given, or as the marks of the teeth showed it; else None.
    """

    name: str
    main: Explained | None
    marks: tuple[Explained, ...]
    feed_direction_deg: float | None


def judge_marks(
    measured: tuple[Measured, ...],
    cut: WallCut | None,
    heard: tuple[Heard, ...] = (),
    feed_direction_deg: float | None = None,
) -> Verdict:
    """Name families of marks, and say what they are together.

    Without a direction of the feed, marks that fit the teeth or the turn tell it: they are upright.

    Parameters
    ----------
    measured
        All of one wall.
    cut, heard
        What is known of the cut, None where its speed, flutes or feed are not known; its chatter.
    feed_direction_deg
        Of the feed in the picture, like `Measured.direction_deg`.
    """
    marks = [_explain(each, cut, heard, feed_direction_deg) for each in measured]
    if feed_direction_deg is None:
        plain = [each for each in marks if each.name in PLAIN and each.measured.certainty >= SURE]
        plain = [each for each in plain if each.measured.direction_deg is not None]
        if plain:
            upright = max(plain, key=lambda each: each.measured.strength)
            feed_direction_deg = upright.measured.direction_deg
            marks = [_explain(each, cut, heard, feed_direction_deg) for each in measured]
    marks = [replace(each, finer=_is_finer(each.measured, measured)) for each in marks]
    marks.sort(key=lambda each: -each.measured.strength)
    if not marks:
        return Verdict(name="cannot-tell", main=None, marks=(), feed_direction_deg=feed_direction_deg)
    names = _resolved(marks)
    name = _loudest(marks, names)
    main = next(each for each, own in zip(marks, names, strict=True) if own == name)
    return Verdict(name=name, main=main, marks=tuple(marks), feed_direction_deg=feed_direction_deg)


def _resolved(marks: list[Explained]) -> list[str]:
    """Let the other marks of the wall say what those are that may be chatter or of the teeth."""
    plain = [each.name for each in marks]
    rings, turns = "chatter" in plain, any(name in PLAIN for name in plain)
    names = []
    for each in marks:
        if each.name == "either" and rings:
            names.append("chatter")
        elif each.name == "either" and turns:
            names.append(next(reading.kind for reading in each.named.readings if reading.kind in PLAIN))
        else:
            names.append(each.name)
    return names


def _loudest(marks: list[Explained], names: list[str]) -> str:
    """Add up what speaks for each name."""
    weights: dict[str, float] = {}
    for each, name in zip(marks, names, strict=True):
        weights[name] = weights.get(name, 0.0) + each.measured.strength * each.measured.certainty
    if "turn" in weights and weights["turn"] > RUNOUT_SHARE * weights.get("tooth", 0.0):
        # one tooth that stands out leaves several marks a turn as well
        for part in ("part-of-turn", "tooth"):
            weights["turn"] += weights.pop(part, 0.0)
    return max(weights, key=lambda name: (name not in ("along-feed", "finer"), weights[name]))


def _is_finer(marks: Measured, all_marks: tuple[Measured, ...]) -> bool:
    for other in all_marks:
        times = round(other.period_mm / marks.period_mm)
        if times < 2 or marks.direction_deg is None or other.direction_deg is None:
            continue
        away = abs((marks.direction_deg - other.direction_deg + 90) % 180 - 90)
        if abs(other.period_mm / marks.period_mm / times - 1) < FINER_SHARE and away < FINER_DEG:
            return True
    return False


def _explain(
    measured: Measured, cut: WallCut | None, heard: tuple[Heard, ...], feed_direction_deg: float | None
) -> Explained:
    slant = None
    if feed_direction_deg is not None and measured.direction_deg is not None:
        slant = (measured.direction_deg - feed_direction_deg + 90) % 180 - 90
    stretch = 1.0 if slant is None else 1 / max(cos(radians(slant)), 1e-3)
    spacing, spread = measured.period_mm * stretch, measured.period_u_mm * stretch
    named, by_hand = None, measured.direction_deg is None
    if cut is not None and (slant is None or abs(slant) <= ALONG_FEED_DEG):
        named = name_spacing(
            cut,
            spacing,
            spread,
            heard=heard,
            slant_deg=slant,
            overtones=BY_HAND_OVERTONES if by_hand else OVERTONES,
            square_to_marks=slant is None and not by_hand,
        )
    if named and named.name == "chatter" and named.readings[0].slant_deg is not None:
        # the tone itself tells how its marks lie to the feed
        stretch = 1 / max(cos(radians(named.readings[0].slant_deg)), LEAST_COSINE)
        spacing, spread = measured.period_mm * stretch, measured.period_u_mm * stretch
    return Explained(measured=measured, spacing_mm=spacing, spacing_u_mm=spread, slant_deg=slant, named=named)
