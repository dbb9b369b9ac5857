"""The wall of ``shopmon speeds``: one deep finishing pass against several step-downs, before it is tried."""

from shopmon.errors import SettingError


def wall_of(case, options: dict, rpm: float) -> dict:
    """Judge ways to finish a wall.

    Parameters
    ----------
    case
        The `StabilityCase`.
    options
        Of the command: ``wall``, ``stickout``, ``fz``, ``shank``, ``flute_length``, ``material``.
    rpm
        Spindle speed.

    Returns
    -------
    dict
        ``height_mm`` and ``rpm`` as asked, ``feed_marks_um`` and ``feed_marks_one_tooth_um`` (height of the
        marks when every tooth, or one alone, makes the wall) and ``plans``, one per number of passes.
    """
    from shopmon.cutting.deflection import cantilever
    from shopmon.cutting.finish import cusp_um, wall_um
    from shopmon.cutting.finishing import finishing_plans
    from shopmon.cutting.forces import EdgeForces
    from shopmon.cutting.materials import material
    from shopmon.cutting.nouns import EndMillType

    for name in ("stickout", "fz", "diameter"):
        if options[name] is None:
            raise SettingError(f"--wall needs --{name}.", f"Give --{name} in mm.")
    if options["wall"] > options["stickout"]:
        raise SettingError(
            "The wall is higher than the stickout.", "Give a longer --stickout or a lower --wall."
        )
    mill = EndMillType(
        DC=case.diameter_mm, DMM=options["shank"], APMX=options["flute_length"] or options["wall"]
    )
    if options["material"] is not None:
        forces = EdgeForces.of(material(options["material"]))
    else:
        forces = EdgeForces(ktc_n_per_mm2=case.kt_n_per_mm2, krc_n_per_mm2=case.kr * case.kt_n_per_mm2)
    fz, tool = options["fz"], cantilever(mill, options["stickout"])
    plans = finishing_plans(tool, case, forces, fz, options["wall"], rpm)
    return {
        "height_mm": options["wall"],
        "rpm": rpm,
        "feed_marks_um": round(wall_um(fz, case.flutes, case.diameter_mm, case.milling), 3),
        "feed_marks_one_tooth_um": round(cusp_um(fz * case.flutes, case.diameter_mm / 2), 3),
        "plans": [_row(plan) for plan in plans],
    }


def _row(plan) -> dict:
    return {
        "passes": plan.passes,
        "ap_mm": round(plan.ap_mm, 3),
        "left_um": round(plan.wall.most_um, 1),
        "taper_um": round(plan.wall.taper_um, 1),
        "step_um": round(plan.step_um, 1),
        "peak_n": round(plan.peak_n, 1),
        "verdict": "quiet" if plan.quiet else "chatter",
    }


def wall_lines(wall: dict) -> list[str]:
    """Tell the ways to finish a wall in a small table."""
    lines = [
        "",
        f"A wall {wall['height_mm']:g} mm high at {wall['rpm']:.0f} rpm (the tool's own bending; holder and "
        "spindle add to it):",
        f"  {'passes':>6} {'each mm':>8} {'left on µm':>11} {'taper µm':>9} {'steps µm':>9} {'force N':>8}",
    ]
    for row in wall["plans"]:
        lines.append(
            f"  {row['passes']:6d} {row['ap_mm']:8.2f} {row['left_um']:11.1f} {row['taper_um']:9.1f} "
            f"{row['step_um']:9.1f} {row['peak_n']:8.0f}  {row['verdict']}"
        )
    lines.append(
        f"  Feed marks {wall['feed_marks_um']:.2g} µm with all teeth alike, "
        f"{wall['feed_marks_one_tooth_um']:.2g} µm where runout lets one tooth make the wall."
    )
    return lines
