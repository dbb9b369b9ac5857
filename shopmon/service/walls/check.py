"""Marks on a wall: what this cut should leave, and what a picture or a measured spacing shows."""

from dataclasses import asdict, dataclass, field
from math import hypot, isfinite

from shopmon.capture.picture_file import Picture
from shopmon.cutting.nouns import MOST_MODE_HZ, require
from shopmon.cutting.surface.marks import WallCut, folded
from shopmon.cutting.surface.naming import Heard
from shopmon.cutting.surface.verdict import Explained, Measured, Verdict, judge_marks
from shopmon.service.walls.words import expected_text, mark_text, verdict_text

SCHEMA = "shopmon.surface/1"
SCALE_SHARE = 0.01
MOST_UM_PER_PIXEL = 5000.0
MOST_TONES = 8
EXPECTED_OVERTONES = 3
RULER_MM = (1.0, 0.5, 25.4 / 16, 25.4 / 32, 25.4 / 64)
RULER_SHARE = 0.012
FEW_MARKS = 6.0
LEAST_SEEN = 0.6


@dataclass(frozen=True, kw_only=True)
class SurfaceQuestion:
    """What is known beside the picture.

    Attributes
    ----------
    um_per_pixel, scale_share
        Scale of the picture and its standard uncertainty as a share; None where there is no picture.
    feed_direction_deg
        Of the feed in the picture, counter-clockwise from the right; None where not known.
    cut
        What made the wall, None where speed, flutes or feed are not known.
    heard
        Chatter of that cut.
    units
        ``"metric"`` or ``"inch"``: of the sentences.
    """

    um_per_pixel: float | None = None
    scale_share: float = SCALE_SHARE
    feed_direction_deg: float | None = None
    cut: WallCut | None = None
    heard: tuple[Heard, ...] = field(default=())
    units: str = "metric"

    def __post_init__(self):
        if self.um_per_pixel is not None:
            good = isfinite(self.um_per_pixel) and 0 < self.um_per_pixel <= MOST_UM_PER_PIXEL
            require(good, f"A scale of {self.um_per_pixel:g} µm per pixel cannot be.", "Give µm per pixel.")
        good = isfinite(self.scale_share) and 0 < self.scale_share <= 0.5
        require(good, "The uncertainty of the scale is a share above 0, up to 0.5.")
        if self.feed_direction_deg is not None:
            good = isfinite(self.feed_direction_deg) and abs(self.feed_direction_deg) <= 360
            require(good, "The direction of the feed is an angle in degrees.")
        require(len(self.heard) <= MOST_TONES, f"More than {MOST_TONES} chatter tones.", "Give the loudest.")


def heard_tones(frequencies_hz: list[float], frequency_u_hz: float = 2.0) -> tuple[Heard, ...]:
    """Take frequencies of chatter for tones that were heard.

    Raises
    ------
    SettingError
        A frequency that cannot be.
    """
    for frequency in frequencies_hz:
        good = isfinite(frequency) and 0 < frequency <= MOST_MODE_HZ
        require(good, f"Chatter at {frequency:g} Hz cannot be.", "Give its frequency in Hz.")
    return tuple(Heard(frequency_hz=each, frequency_u_hz=frequency_u_hz) for each in frequencies_hz)


def check_picture(picture: Picture, question: SurfaceQuestion) -> dict:
    """Measure the marks of a picture and name them; return plain data, ``shopmon.surface/1``.

    Raises
    ------
    SettingError
        No scale was given.
    """
    from shopmon.signals.texture.reading import read_texture

    require(question.um_per_pixel is not None, "No scale was given.", "Give µm per pixel.")
    texture = read_texture(picture.grey)
    px_mm = question.um_per_pixel / 1000
    measured = tuple(
        Measured(
            period_mm=marks.period_px * px_mm,
            period_u_mm=marks.period_px
            * px_mm
            * hypot(marks.period_u_px / marks.period_px, question.scale_share),
            direction_deg=marks.direction_deg,
            strength=marks.strength,
            certainty=marks.certainty,
        )
        for marks in texture.marks
    )
    verdict = judge_marks(measured, question.cut, question.heard, question.feed_direction_deg)
    counts = {id(each): marks.count for each, marks in zip(measured, texture.marks, strict=True)}
    report = _report(verdict, question, texture.why)
    for entry, each in zip(report["marks"], verdict.marks, strict=True):
        entry["count"] = counts[id(each.measured)]
    report["picture"] = {
        "width_px": picture.whole_px[0],
        "height_px": picture.whole_px[1],
        "region_px": list(picture.region_px) if picture.region_px else None,
        "um_per_pixel": question.um_per_pixel,
        "scale_share": question.scale_share,
        "seen": texture.seen,
    }
    report["notices"] = _notices(report, texture.seen)
    return report


def check_spacing(spacing_mm: float, spacing_u_mm: float, question: SurfaceQuestion) -> dict:
    """Name marks whose spacing along the feed was measured by hand; ``shopmon.surface/1``, no picture."""
    require(isfinite(spacing_mm) and 0 < spacing_mm <= 1000, f"A spacing of {spacing_mm:g} mm cannot be.")
    require(isfinite(spacing_u_mm) and 0 <= spacing_u_mm < spacing_mm, "That uncertainty cannot be.")
    measured = Measured(period_mm=spacing_mm, period_u_mm=spacing_u_mm)
    report = _report(judge_marks((measured,), question.cut, question.heard), question, "")
    report["marks"][0].update(certainty=None, direction_deg=None)
    return report


def expect(question: SurfaceQuestion) -> dict:
    """Say what the cut should leave; ``shopmon.surface/1`` without a measurement."""
    return {"schema": SCHEMA, "cut": _cut(question), "expected": expected_marks(question)}


def expected_marks(question: SurfaceQuestion) -> list[dict]:
    """List what the cut should leave on the wall, ready for JSON; empty where too little is known of it."""
    cut = question.cut
    if cut is None:
        return []
    found = [{"kind": "tooth", "spacing_mm": cut.feed_per_tooth_mm}]
    if cut.flutes > 1:
        found.append({"kind": "turn", "spacing_mm": cut.feed_per_turn_mm})
    for tone in question.heard:
        for overtone in range(1, EXPECTED_OVERTONES + 1):
            found.append(_chatter(cut, tone, overtone, one_tooth=False))
        if cut.flutes > 1:
            found.append(_chatter(cut, tone, 1, one_tooth=True))
    return [each | {"text": expected_text(each, question.units)} for each in found]


def _chatter(cut: WallCut, tone: Heard, overtone: int, *, one_tooth: bool) -> dict:
    marks = folded(
        cut, tone.frequency_hz, frequency_u_hz=tone.frequency_u_hz, overtone=overtone, one_tooth=one_tooth
    )
    values = {"kind": "chatter", "one_tooth": one_tooth, **asdict(marks)}
    return {name: None if value in (float("inf"),) else value for name, value in values.items()}


def _report(verdict: Verdict, question: SurfaceQuestion, why: str) -> dict:
    return {
        "schema": SCHEMA,
        "verdict": verdict.name,
        "text": verdict_text(verdict, question.cut, question.units, why),
        "spacing_mm": verdict.main.spacing_mm if verdict.main else None,
        "spacing_u_mm": verdict.main.spacing_u_mm if verdict.main else None,
        "certainty": verdict.main.measured.certainty if verdict.main and question.um_per_pixel else None,
        "feed_direction_deg": verdict.feed_direction_deg,
        "picture": None,
        "cut": _cut(question),
        "expected": expected_marks(question),
        "marks": [_mark(each, question) for each in verdict.marks],
        "notices": [],
    }


def _cut(question: SurfaceQuestion) -> dict | None:
    cut = question.cut
    if cut is None:
        return None
    return asdict(cut) | {
        "tooth_passing_hz": cut.tooth_passing_hz,
        "feed_per_tooth_mm": cut.feed_per_tooth_mm,
        "feed_per_turn_mm": cut.feed_per_turn_mm,
        "chatter_hz": [tone.frequency_hz for tone in question.heard],
    }


def _mark(marks: Explained, question: SurfaceQuestion) -> dict:
    return {
        "name": marks.name,
        "spacing_mm": marks.spacing_mm,
        "spacing_u_mm": marks.spacing_u_mm,
        "period_mm": marks.measured.period_mm,
        "direction_deg": marks.measured.direction_deg,
        "slant_deg": marks.slant_deg,
        "strength": marks.measured.strength,
        "certainty": marks.measured.certainty,
        "count": None,
        "readings": [asdict(reading) for reading in marks.named.readings] if marks.named else [],
        "text": mark_text(marks, question.units),
    }


def _notices(report: dict, seen: float) -> list[dict]:
    found = []
    for entry in report["marks"]:
        if any(abs(entry["period_mm"] / ruler - 1) < RULER_SHARE for ruler in RULER_MM):
            found.append(
                ("ruler", "These marks are as far apart as the lines of a rule.",
                 "Where a rule is in the picture, choose a part without it.")
            )  # fmt: skip
            break
    main = report["marks"][0] if report["marks"] else None
    if main and main["count"] < FEW_MARKS:
        found.append(
            ("few-marks", f"The picture holds only about {main['count']:.0f} of these marks.",
             "Take one with ten or more for a better figure.")
        )  # fmt: skip
    if seen < LEAST_SEEN:
        found.append(
            ("glare", f"Only {seen:.0%} of the picture can be used; the rest is glare or black.",
             "Take it again with the light from the side.")
        )  # fmt: skip
    return [{"code": code, "text": text, "hint": hint} for code, text, hint in found]
