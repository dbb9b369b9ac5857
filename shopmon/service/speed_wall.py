"""A wall to be finished, judged before it is tried: one pass over its whole height, or several step-downs."""

from collections.abc import Mapping
from typing import Any

from shopmon.cutting.deflection import cantilever
from shopmon.cutting.finish import cusp_um, wall_um
from shopmon.cutting.finishing import finishing_plans
from shopmon.cutting.forces import EdgeForces
from shopmon.cutting.learned_advice import SpeedSheet, chance
from shopmon.cutting.nouns import EndMillType
from shopmon.cutting.semidiscretization import CutCase
from shopmon.errors import SettingError
from shopmon.service.tool_and_job import material_of

NEEDED = ("ap_mm", "ae_mm", "milling", "stickout_mm", "feed_mm_min", "nominal_rpm", "material")


def wall_as_data(sheet: SpeedSheet, context: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return the ways to finish a wall as high as the wanted depth; None where too little is known.

    Parameters
    ----------
    sheet
        Says how probably each depth is quiet at the speed for a finish.
    context
        What is cut, with what and how.

    Returns
    -------
    dict or None
        ``height_mm``, ``rpm``, ``feed_marks_um`` with all teeth alike and ``feed_marks_one_tooth_um``, and
        ``plans``, each with ``passes``, ``ap_mm``, what bending leaves (``left_um``, ``taper_um``,
        ``step_um``), ``peak_n`` and ``probability_quiet``.
    """
    known = all(context.get(name) for name in NEEDED)
    material = material_of(context.get("material"))
    card = next((card for card in sheet.cards if card.aim == "finish"), sheet.now)
    if not known or material is None or card is None or context["milling"] == "slot":
        return None
    asked, rpm = sheet.question, card.rpm
    fz = context["feed_mm_min"] / (asked.flutes * context["nominal_rpm"])
    try:
        forces = EdgeForces.of(material)
        cut = CutCase(
            flutes=asked.flutes, diameter_mm=asked.diameter_mm, kt_n_per_mm2=forces.ktc_n_per_mm2,
            kr=forces.krc_n_per_mm2 / forces.ktc_n_per_mm2, milling=asked.milling, ae_mm=asked.ae_mm,
            helix_deg=context.get("helix_deg") or 0.0,
        )  # fmt: skip
        tool = cantilever(EndMillType(DC=asked.diameter_mm), context["stickout_mm"])
        plans = finishing_plans(tool, cut, forces, fz, context["ap_mm"], rpm)
        marks = wall_um(fz, asked.flutes, asked.diameter_mm, asked.milling)
        alone = cusp_um(fz * asked.flutes, asked.diameter_mm / 2)
    except SettingError:
        return None  # higher than the stickout, or a feed that is none: there is no such wall
    return {
        "height_mm": context["ap_mm"],
        "rpm": rpm,
        "feed_marks_um": round(marks, 3),
        "feed_marks_one_tooth_um": round(alone, 3),
        "plans": [_plan(plan, sheet, rpm) for plan in plans],
    }


def _plan(plan, sheet: SpeedSheet, rpm: float) -> dict[str, Any]:
    return {
        "passes": plan.passes,
        "ap_mm": round(plan.ap_mm, 3),
        "left_um": round(plan.wall.most_um, 1),
        "taper_um": round(plan.wall.taper_um, 1),
        "step_um": round(plan.step_um, 1),
        "peak_n": round(plan.peak_n, 1),
        "probability_quiet": round(chance(sheet.found, rpm, plan.ap_mm), 2),
    }
