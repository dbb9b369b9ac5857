"""Marks on a wall in a machinist's words, in mm or in inches."""

from decimal import Decimal

from shopmon.cutting.surface.marks import WallCut
from shopmon.cutting.surface.naming import Named, Reading
from shopmon.cutting.surface.verdict import Explained, Verdict

MM_PER_INCH = 25.4
UNHEARD_TOLD = 6
SURE, LIKELY = 0.95, 0.8
NAMES = {
    "tooth": "Tooth marks: every tooth leaves one",
    "turn": "The pattern repeats once a turn: one tooth stands out (runout)",
    "part-of-turn": "The pattern repeats several times a turn: some teeth stand out",
    "chatter": "Chatter",
    "either": "Either the marks of the teeth or chatter: their spacings are the same in this cut",
    "unheard": "Neither the teeth nor a tone that was heard",
    "none": "Nothing that this cut could leave",
    "along-feed": "Marks along the feed: they do not come from the teeth one after another",
    "finer": "Finer waves of the marks above",
    "not-named": "Marks at even distances",
    "cannot-tell": "Cannot tell",
}


def length(value_mm: float, units: str, digits: int = 3) -> str:
    r"""Write a spacing with the digits it deserves.

    Examples
    --------
    >>> length(0.12897, "metric"), length(0.12897, "inch"), length(12.3, "metric")
    ('0.129\xa0mm', '0.00508\xa0in', '12.3\xa0mm')
    """
    value, unit = (value_mm / MM_PER_INCH, "in") if units == "inch" else (value_mm, "mm")
    text = f"{Decimal(f'{value:.{digits}g}'):f}"
    return f"{text}\u00a0{unit}"


def sureness(certainty: float | None) -> str:
    """Say how sure it is that marks are there."""
    if certainty is None:
        return ""
    return "sure" if certainty >= SURE else "likely" if certainty >= LIKELY else "not sure"


def expected_text(expected: dict, units: str) -> str:
    """Say where marks are to be expected."""
    if expected["kind"] == "tooth":
        return f"Tooth marks every {length(expected['spacing_mm'], units)} (feed per tooth)."
    if expected["kind"] == "turn":
        spacing = length(expected["spacing_mm"], units)
        return f"Where one tooth stands out: every {spacing} (feed per turn)."
    tone = f"Chatter at {expected['frequency_hz']:.0f}\u00a0Hz"
    if expected["overtone"] > 1:
        tone += f", where it rings hard (overtone {expected['overtone']})"
    tone += ", where one tooth makes the wall" if expected["one_tooth"] else ""
    if expected["spacing_mm"] is None:
        return (
            f"{tone}: in step with the {'turn' if expected['one_tooth'] else 'teeth'}, no marks of its own."
        )
    low, high = expected["low_mm"], expected["high_mm"]
    to = length(high, units) if high is not None else "any length"
    slant = expected["slant_deg"]
    slanted = "" if slant is None else f", slanted by {slant:.0f}°"
    return f"{tone}: every {length(expected['spacing_mm'], units)} ({length(low, units)} to {to}){slanted}."


def reading_text(reading: Reading, units: str) -> str:
    """Say what a spacing may be."""
    spacing = length(reading.expected_mm, units)
    if reading.kind == "tooth":
        return f"tooth marks ({spacing} a tooth)"
    if reading.kind == "turn":
        part = "" if reading.multiple == 1 else f", {reading.multiple} waves a turn"
        return (
            f"the pattern of one turn ({length(reading.expected_mm * reading.multiple, units)} a turn{part})"
        )
    if reading.kind == "part-of-turn":
        return f"{reading.multiple} alike a turn ({spacing})"
    tone = f"{reading.frequency_hz:.0f}\u00a0Hz ± {max(1.0, 2 * reading.frequency_u_hz):.0f}"
    if reading.kind == "slow":
        return f"a slow vibration at {tone} (a drive, the floor)"
    how = f"{reading.multiple} × {'the rotation' if reading.one_tooth else 'tooth passing'}"
    overtone = "" if reading.overtone == 1 else f"overtone {reading.overtone} of "
    return f"{overtone}chatter at {tone}" + (f", beside {how}" if reading.multiple else "")


def mark_text(marks: Explained, units: str) -> str:
    """Say spacing, slant and meaning of one family of marks."""
    words = f"Every {length(marks.spacing_mm, units)} ± {length(2 * marks.spacing_u_mm, units, 1)}"
    if marks.slant_deg is not None and abs(marks.slant_deg) >= 1:
        words += f", slanted by {abs(marks.slant_deg):.0f}°"
    said = NAMES[marks.name][0].lower() + NAMES[marks.name][1:]
    if marks.named and marks.named.readings and marks.name not in ("unheard", "none"):
        told = _best(marks.named)
        said = " or ".join(reading_text(each, units) for each in told)
    return f"{words}: {said}."


def _best(named: Named) -> tuple[Reading, ...]:
    """Leave out the readings that are only possible beside plainer ones."""
    if named.name == "either":
        chatter = [each for each in named.readings if each.kind == "chatter"]
        return (chatter[0], *[each for each in named.readings if each.kind != "chatter"][:1])
    return named.readings[:1]


def verdict_text(verdict: Verdict, cut: WallCut | None, units: str, why: str) -> str:
    """Say in a sentence or two what the wall shows."""
    if verdict.main is None:
        return f"Cannot tell. {why}".strip()
    main = verdict.main
    spacing = f"every {length(main.spacing_mm, units)}"
    sure = sureness(main.measured.certainty)
    head = f"{NAMES[verdict.name]}, {spacing}"
    if verdict.name == "chatter":
        best = main.named.readings[0]
        head = f"Chatter at about {best.frequency_hz:.0f}\u00a0Hz, heard in this cut: marks {spacing}"
        head += f" (a wave of its overtone {best.overtone})" if best.overtone > 1 else ""
    text = f"{head} ({sure})." if sure and main.measured.direction_deg is not None else f"{head}."
    if _square_only(verdict):
        text += (
            " That is square to the marks: where they lie slanted to the feed, they are further apart"
            " along it. Say the feed's direction, or diameter and helix of the tool."
        )
    if verdict.name == "unheard":
        text += f" {_candidates(main.named, units)}"
    if verdict.name == "part-of-turn":
        chatter = [each for each in main.named.readings if each.kind == "chatter"]
        if chatter:
            text += " With an even number of flutes, chatter that repeats every second tooth looks the same."
    if verdict.name == "not-named" and cut is None:
        text += " Speed, flutes and table feed of the cut are needed to say what they are."
    return text


def _square_only(verdict: Verdict) -> bool:
    """Tell whether marks that may be slanted were measured without anything that tells how they lie."""
    main = verdict.main
    lies = verdict.feed_direction_deg is not None or main.measured.direction_deg is None
    return not lies and verdict.name in ("chatter", "unheard") and main.spacing_mm == main.measured.period_mm


def _candidates(named: Named, units: str) -> str:
    tones = [each for each in named.readings if each.kind == "chatter"]
    slow = [each for each in named.readings if each.kind == "slow"]
    words = []
    if tones:
        told = ", ".join(f"{each.frequency_hz:.0f}" for each in tones[:UNHEARD_TOLD])
        more = " and higher" if len(tones) > UNHEARD_TOLD else ""
        words.append(f"Chatter at one of {told}\u00a0Hz{more} would leave such marks.")
    if slow:
        words.append(f"So would {reading_text(slow[0], units)}.")
    return " ".join(words)
