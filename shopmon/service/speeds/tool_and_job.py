"""From what was said of a cut to what the learning needs: whose belief it is, its prior, its trials."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from shopmon.cutting.advising.learning import PastCut
from shopmon.cutting.advising.mode_text import modes_of
from shopmon.cutting.advising.prior import HeardTone, Prior, prior_of
from shopmon.cutting.materials import GROUPS, MATERIALS
from shopmon.cutting.nouns import EndMillType, Material, ToolAssembly
from shopmon.errors import SettingError
from shopmon.listening.engagement.stretches import Stretch, stretches
from shopmon.records.cuts.credit import A_CUT, CHATTER, TAKEN_BACK
from shopmon.records.cuts.credit import NO_CHATTER as QUIET
from shopmon.records.cuts.credit import NOT_A_CUT as NO_CUT

# values of the context that make it the same tool on the same machine in the same material
KEY_VALUES = (
    "machine", "end_mill_id", "end_mill", "tool_assembly", "holder", "stickout_mm", "diameter_mm", "flutes",
    "material",
)  # fmt: skip
TELLS_APART = ("end_mill_id", "end_mill", "tool_assembly", "diameter_mm")  # two tools of one machine
LABELS = ("end_mill", "tool_assembly")  # of a tool of the register they may change without it changing
USUAL_MILLING, USUAL_WIDTH = "climb", 0.4  # of the diameter, where nobody says; own judgement, no source
TRIED = ("tried better", "tried same", "tried worse")
TRIED_TAKEN_BACK = "tried taken back"
GONE = (TRIED_TAKEN_BACK, TAKEN_BACK)
NEAR_SPEED = 0.03  # of the advised one: that stretch is what was tried
ANSWER_PLACE = 1000


@dataclass(frozen=True, kw_only=True)
class Trial:
    """One stretch of a logged cut, or what a person says of one, as learning and the page see it.

    Attributes
    ----------
    cut_id, place
        Where it comes from; the place counts stretches within the cut, then answers.
    rpm, ap_mm, ae_mm
        As far as known.
    verdict
        ``quiet``, ``chatter`` or ``uncertain``, a person's word before the monitor's.
    said_by
        ``monitor`` or ``person``.
    learned
        What the learning takes of it; None where it can learn nothing.
    why_not
        Why it cannot, for the person.
    """

    cut_id: str
    place: int
    started_at: float | None
    rpm: float | None
    verdict: str
    chatter_hz: float | None
    ap_mm: float | None
    ae_mm: float | None
    milling: str | None
    said_by: str = "monitor"
    learned: PastCut | None = None
    why_not: str = ""

    @property
    def fingerprint(self) -> list:
        """What it is known by in a belief that has learned from it."""
        data = json.dumps(asdict(self.learned) if self.learned else None, sort_keys=True)
        return [self.cut_id, self.place, hashlib.sha256(data.encode()).hexdigest()[:16]]


def key_values(context: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of a context that say whose belief it is."""
    registered = context.get("end_mill_id") is not None
    return {name: context.get(name) for name in KEY_VALUES if not (registered and name in LABELS)}


def key_of(context: Mapping[str, Any]) -> str:
    """Return the key under which the belief of a context is kept."""
    text = json.dumps(key_values(context), sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()[:24]


def material_of(name: str | None) -> Material | None:
    """Return the material that a person's word stands for; None where it is not one of the tables."""
    if not name:
        return None
    word = name.strip().lower()
    if word.upper() in GROUPS:
        return GROUPS[word.upper()]
    for short, known in MATERIALS.items():
        names = {short, known.label.lower(), (known.alloy or "").lower()}
        if word in names or short in word.replace("-", " ").split():
            return known
    return None


def prior_from(context: Mapping[str, Any]) -> Prior:
    """Return the prior of what is in the spindle, as wide as little is known."""
    diameter, stickout = context.get("diameter_mm"), context.get("stickout_mm")
    mill = EndMillType(DC=diameter, NOF=context.get("flutes"))
    material, measured = material_of(context.get("material")), modes_of(context.get("measured_modes"))
    heard = tuple(HeardTone(**tone) for tone in context.get("heard_tones") or ())
    try:
        return prior_of(ToolAssembly(mill=mill, stickout_mm=stickout), material, measured, heard)
    except SettingError:
        return prior_of(None, material, measured, heard)


def trials_of(cuts: list[Mapping[str, Any]]) -> list[Trial]:
    """Return the trials in the cuts of one tool, a person's word taken before the monitor's.

    Parameters
    ----------
    cuts
        From `LearningRows.cuts_of_tool`, oldest first.
    """
    found = [trial for cut in cuts for trial in _within(cut)]
    by_id = {cut["id"]: cut for cut in cuts}
    for cut in cuts:
        answers = [row for row in standing(cut.get("judgements") or []) if row["verdict"] in TRIED]
        for number, row in enumerate(answers):
            found = _with_answer(found, by_id, cut, row, ANSWER_PLACE + number)
    return found


def _within(cut: Mapping[str, Any]) -> list[Trial]:
    """The trials in one cut as the monitor heard them, or as a person judged it."""
    context, said = cut["context"], standing(cut.get("judgements") or [])
    verdicts = [row["verdict"] for row in said]
    existence = next((word for word in reversed(verdicts) if word in (NO_CUT, A_CUT)), A_CUT)
    if existence == NO_CUT:
        return []
    found = [_heard(cut, context, number, part) for number, part in enumerate(_parts(cut))]
    ringing = next((word for word in reversed(verdicts) if word in (CHATTER, QUIET)), None)
    if ringing is None:
        return found
    lines = any(trial.chatter_hz for trial in found)
    # a cut that did ring need not have rung at every speed it was taken at
    return [
        _overruled(trial, context, ringing == CHATTER)
        if ringing == QUIET or trial.chatter_hz or not lines
        else trial
        for trial in found
    ]


def _parts(cut: Mapping[str, Any]) -> tuple[Stretch, ...]:
    return stretches(cut["analysis"]) if cut.get("analysis") else ()


def _heard(cut, context, place: int, part: Stretch) -> Trial:
    return _trial(cut, context, place, rpm=part.rpm, verdict=part.verdict, hz=part.chatter_hz)


def _trial(cut, context, place: int, *, rpm, verdict: str, hz, said_by="monitor", ap_mm=None) -> Trial:
    learned, why_not = _past_cut(context, rpm, verdict, hz, ap_mm)
    return Trial(
        cut_id=cut["id"], place=place, started_at=cut.get("started_at"), rpm=rpm, verdict=verdict,
        chatter_hz=hz, ap_mm=ap_mm or context.get("ap_mm") or None, ae_mm=context.get("ae_mm") or None,
        milling=context.get("milling"), said_by=said_by, learned=learned, why_not=why_not,
    )  # fmt: skip


def _past_cut(context, rpm, verdict: str, hz, ap_mm=None) -> tuple[PastCut | None, str]:
    flutes, diameter = context.get("flutes"), context.get("diameter_mm")
    missing = [
        name for name, value in (("speed", rpm), ("flutes", flutes), ("diameter", diameter)) if value is None
    ]
    if missing:
        return None, f"{' and '.join(missing)} not known"
    if verdict == "uncertain":
        return None, "the monitor was not sure"
    milling, ae_mm, told = arc_of(context)
    try:
        past = PastCut(
            rpm=float(rpm), flutes=flutes, chattered=verdict == "chatter", milling=milling, ae_mm=ae_mm,
            diameter_mm=diameter, chatter_hz=hz if verdict == "chatter" else None,
            # a depth says nothing of the force where the width is a guess
            ap_mm=(ap_mm or context.get("ap_mm") or None) if told else None,
        )  # fmt: skip
    except SettingError as exc:
        return None, exc.text
    return past, ""


def arc_of(context: Mapping[str, Any]) -> tuple[str, float, bool]:
    """Return kind of milling and width in mm, and whether both were said and can be; else a usual cut."""
    diameter = context.get("diameter_mm") or 1.0
    milling, ae_mm = context.get("milling"), context.get("ae_mm") or None
    if milling == "slot":
        return "slot", diameter, True
    fits = ae_mm is not None and ae_mm <= diameter
    return milling or USUAL_MILLING, ae_mm if fits else USUAL_WIDTH * diameter, fits and milling is not None


def standing(said: list[dict]) -> list[dict]:
    """What was said and not taken back since."""
    gone = {(row["data"] or {}).get("of") for row in said if row["verdict"] in GONE}
    return [row for row in said if row["id"] not in gone and row["verdict"] not in GONE]


def _overruled(trial: Trial, context, chattered: bool) -> Trial:
    """The person's word in place of the monitor's."""
    verdict, hz = ("chatter", trial.chatter_hz) if chattered else ("quiet", None)
    cut = {"id": trial.cut_id, "started_at": trial.started_at}
    return _trial(cut, context, trial.place, rpm=trial.rpm, verdict=verdict, hz=hz, said_by="person")


def _with_answer(found: list[Trial], by_id: dict, cut, row: dict, place: int) -> list[Trial]:
    """What was tried after an advice: the stretch at that speed as the person says, else a trial of its own.

    Better at a speed at which the monitor heard chatter all the same is less of it, and no quiet cut. Of
    less depth nothing is learned unless the advice said how deep.
    """
    data = row["data"] or {}
    rpm, event_rpm, ap_mm = data.get("rpm"), data.get("event_rpm"), data.get("ap_mm")
    if rpm is None:
        return found
    better = row["verdict"] == TRIED[0]
    same_speed = event_rpm is not None and _near(rpm, event_rpm)
    if same_speed and ap_mm is None:
        return found
    since, until = cut["sequence"], row["sequence"]
    later = [
        trial
        for trial in found
        if not same_speed
        and trial.rpm
        and _near(trial.rpm, rpm)
        and since <= by_id[trial.cut_id]["sequence"] < until
    ]
    if not later:
        verdict = "quiet" if better else "chatter"
        own = {"rpm": rpm, "verdict": verdict, "hz": None, "said_by": "person", "ap_mm": ap_mm}
        # where it was said, so that what is learned grows at its end
        at = sum(by_id[trial.cut_id]["sequence"] < until for trial in found)
        return [*found[:at], _trial(cut, cut["context"], place, **own), *found[at:]]
    last = later[-1]
    if better and last.verdict == "chatter":
        return found
    context = by_id[last.cut_id]["context"]
    return [trial if trial is not last else _overruled(trial, context, not better) for trial in found]


def _near(one: float, other: float) -> bool:
    return abs(one / other - 1) <= NEAR_SPEED
