"""A wall to be finished, judged before it is tried: one pass over its whole height, or several step-downs."""

from collections.abc import Callable, Mapping
from typing import Any

from shopmon.cutting.advising.learned import SpeedSheet, chance
from shopmon.cutting.finishing.deflection import Cantilever, cantilever
from shopmon.cutting.finishing.marks import cusp_um, wall_um
from shopmon.cutting.finishing.passes import FinishingPlan, finishing_plans
from shopmon.cutting.forces import EdgeForces
from shopmon.cutting.nouns import EndMillType
from shopmon.cutting.stability.semidiscretization import CutCase
from shopmon.errors import SettingError
from shopmon.service.speeds.tool_and_job import material_of

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
        return wall_figures(
            tool, cut, forces, fz, context["ap_mm"], rpm,
            lambda plan: {"probability_quiet": round(chance(sheet.found, rpm, plan.ap_mm), 2)},
        )  # fmt: skip
    except SettingError:
        return None  # higher than the stickout, or a feed that is none: there is no such wall


def wall_figures(
    tool: Cantilever,
    cut: CutCase,
    forces: EdgeForces,
    fz_mm: float,
    height_mm: float,
    rpm: float,
    verdict: Callable[[FinishingPlan], dict[str, Any]],
) -> dict[str, Any]:
    """Return the ways to finish a wall, as page and command show them.

    Parameters
    ----------
    tool, cut, forces, fz_mm
        What cuts, how, against which forces, with which feed per tooth.
    height_mm, rpm
        Of the wall, and of the spindle.
    verdict
        What is said of a plan's staying quiet, as a key and its value.

    Returns
    -------
    dict
        ``height_mm``, ``rpm``, ``feed_marks_um`` and ``feed_marks_one_tooth_um`` (height of the marks when
        every tooth, or one alone, makes the wall), ``plans``, one per number of passes.
    """
    plans = finishing_plans(tool, cut, forces, fz_mm, height_mm, rpm)
    return {
        "height_mm": height_mm,
        "rpm": rpm,
        "feed_marks_um": round(wall_um(fz_mm, cut.flutes, cut.diameter_mm, cut.milling), 3),
        "feed_marks_one_tooth_um": round(cusp_um(fz_mm * cut.flutes, cut.diameter_mm / 2), 3),
        "plans": [{**_plan(plan), **verdict(plan)} for plan in plans],
    }


def _plan(plan: FinishingPlan) -> dict[str, Any]:
    return {
        "passes": plan.passes,
        "ap_mm": round(plan.ap_mm, 3),
        "left_um": round(plan.wall.most_um, 1),
        "taper_um": round(plan.wall.taper_um, 1),
        "step_um": round(plan.step_um, 1),
        "peak_n": round(plan.peak_n, 1),
    }
