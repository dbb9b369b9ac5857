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
        As `shopmon.service.speeds.wall.wall_figures`, each plan with its ``verdict``.
    """
    from shopmon.cutting.finishing.deflection import cantilever
    from shopmon.cutting.forces import EdgeForces
    from shopmon.cutting.materials import material
    from shopmon.cutting.nouns import EndMillType
    from shopmon.service.speeds.wall import wall_figures

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
    tool = cantilever(mill, options["stickout"])
    return wall_figures(
        tool, case, forces, options["fz"], options["wall"], rpm,
        lambda plan: {"verdict": "quiet" if plan.quiet else "chatter"},
    )  # fmt: skip


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
