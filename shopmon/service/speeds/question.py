"""From what was said and heard to a question about speeds, or to what has to be asked first."""

from collections.abc import Mapping
from typing import Any

from shopmon.cutting.advising.learned import Question
from shopmon.cutting.advising.one_line import ChatterTone
from shopmon.listening.counsel import CutFacts
from shopmon.service.context import facts_of
from shopmon.service.settings import Machine
from shopmon.service.speeds.tool_and_job import arc_of, material_of

SLIP_STEP = 0.005  # so that a speed that breathes does not ask anew at every breath
MOST_SLIP = 0.05
SPEED_STEP = 50.0

# name, whether nothing can be said without it, why it is asked
WANTED = (
    ("diameter_mm", True, "the arc of the cut and the stiffness follow from it"),
    ("flutes", True, "every tooth meets the wave of the one before"),
    ("stickout_mm", False, "it makes the first guess of the frequency far sharper"),
    ("milling", False, "climb and conventional ring at different speeds; climb is taken for now"),
    ("ae_mm", False, "the width sets the arc; 40 % of the diameter is taken for now"),
    ("material", False, "its cutting force sets the depth; a wide range is taken for now"),
    ("ap_mm", False, "then each cut tells of the depth too, and advice can be for that depth"),
)


def asked_for(context: Mapping[str, Any], machine: Machine, heard: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return what is not known, what nothing can be said without first."""
    asks = [
        {"name": name, "needed": needed, "why": why}
        for name, needed, why in WANTED
        if not context.get(name) and not (name == "ae_mm" and context.get("milling") == "slot")
    ]
    limits = facts_of(context, machine).limits
    if limits.highest_rpm(context.get("diameter_mm")) is None:
        nothing = present_rpm(context, heard) is None
        why = "neither a limit of the machine nor one marked on the tool is known: nothing faster is advised"
        asks.append({"name": "rated_rpm", "needed": nothing, "why": why})
    if context.get("material") and material_of(context["material"]) is None:
        why = "no force is known of this one; a wide range is taken"
        asks.append({"name": "material", "needed": False, "why": why})
    if context.get("ae_mm") and context.get("diameter_mm") and context["ae_mm"] > context["diameter_mm"]:
        why = "it is more than the diameter; 40 % of the diameter is taken for now"
        asks.append({"name": "ae_mm", "needed": False, "why": why})
    return sorted(asks, key=lambda ask: not ask["needed"])


def present_rpm(context: Mapping[str, Any], heard: Mapping[str, Any]) -> float | None:
    """Return the true speed now, steady enough to be asked about; the told one where nothing turns."""
    told, true = context.get("nominal_rpm"), heard.get("rpm")
    if told is None:
        return None if true is None else SPEED_STEP * round(true / SPEED_STEP) or None
    slip = 0.0 if true is None else true / told - 1
    return told * (1 + SLIP_STEP * round(slip / SLIP_STEP)) if abs(slip) <= MOST_SLIP else float(told)


def question_of(
    context: Mapping[str, Any], machine: Machine, heard: Mapping[str, Any], *, required: bool = True
) -> Question | None:
    """Return the question about a context.

    Parameters
    ----------
    context, machine
        What is cut, with what, on what.
    heard
        Has the true speed as ``rpm``.
    required
        False returns None where too little is known, True refuses.

    Raises
    ------
    SettingError
        Too little is known.
    """
    known = context.get("diameter_mm") and context.get("flutes")
    facts = facts_of(context, machine)
    speed = present_rpm(context, heard)
    limit = facts.limits.highest_rpm(context.get("diameter_mm"))
    if not required and not (known and (speed or limit)):
        return None
    milling, ae_mm, _ = arc_of(context)
    return Question(
        flutes=context.get("flutes"), diameter_mm=context.get("diameter_mm"), milling=milling, ae_mm=ae_mm,
        ap_mm=context.get("ap_mm") or None, present_rpm=speed, nominal_rpm=context.get("nominal_rpm"),
        feed_mm_min=context.get("feed_mm_min") or None, limits=facts.limits,
    )  # fmt: skip


def tone_of(event: Mapping[str, Any], facts: CutFacts) -> ChatterTone:
    """Return the line of a chatter event with what is known of its cut."""
    context = event["context"]
    return ChatterTone(
        frequency_hz=event["frequency_hz"], rpm=event["rpm"], flutes=context.get("flutes"),
        nominal_rpm=context.get("nominal_rpm"), milling=facts.milling, diameter_mm=facts.diameter_mm,
        ae_mm=facts.ae_mm, ap_mm=facts.ap_mm,
    )  # fmt: skip
