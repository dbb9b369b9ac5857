"""``shopmon speeds``: which speeds and depths are quiet, from the modes of the tool tip or from one tone."""

from dataclasses import asdict
from math import isfinite

import click

from shopmon.cli import cut_options
from shopmon.cli.json_output import write_json
from shopmon.cli.modes import MODE_FORM, parse_mode
from shopmon.errors import SettingError

SCHEMA = "shopmon.speeds/1"
MOST_SPEEDS = 2000
DIAMETERS_DEEP = 3.0
POSITIVE = (
    "rpm", "ap", "ae", "diameter", "step", "min_rpm", "max_rpm", "tool_rpm", "max_vc", "deepest", "wall",
    "stickout", "fz", "flute_length", "shank",
)  # fmt: skip
KINDS = ("quasi-periodic", "period-doubling")


def parse_point(text: str) -> tuple[float, float]:
    """Read a cut as ``RPM,AP_MM``."""
    try:
        rpm, ap_mm = (float(part) for part in text.split(","))
        if not (isfinite(rpm) and isfinite(ap_mm) and rpm > 0 and ap_mm > 0):
            raise ValueError
    except ValueError as exc:
        raise SettingError(f"--at {text!r} is not a cut.", "Write RPM,AP_MM, for example 12000,4.0.") from exc
    return rpm, ap_mm


def parse_pitch(text: str | None) -> tuple[float, ...] | None:
    """Read the angles between the flutes, degrees, separated by commas."""
    if text is None:
        return None
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError as exc:
        raise SettingError(f"--pitch {text!r} is not a list of angles.", "Write 110,120,130.") from exc


def stability_case(options: dict):
    """Build the cut from the options, with the modes."""
    from shopmon.cutting.stability.semidiscretization import StabilityCase

    if not options["mode"]:
        raise SettingError("No mode of the tool tip is given.", f"Give --mode {MODE_FORM}.")
    modes = tuple(parse_mode(text) for text in options["mode"])
    return StabilityCase(modes=modes, **cut_values(options))


def cut_values(options: dict) -> dict:
    """Return tool, material and arc of the cut as the options give them."""
    from shopmon.cutting.materials import material

    if options["flutes"] is None:
        raise SettingError("The number of flutes is missing.", "Give --flutes N.")
    kt, kr = options["kt"], options["kr"]
    if options["material"] is not None:
        known = material(options["material"])
        kr = known.krc_n_per_mm2 / known.ktc_n_per_mm2 if kr is None else kr
        kt = known.ktc_n_per_mm2 if kt is None else kt
    if kt is None or kr is None:
        raise SettingError("The cutting force is unknown.", "Give --material, or --kt and --kr.")
    milling = options["milling"] or "climb"
    _check_arc(milling, options)
    return {
        "flutes": options["flutes"], "diameter_mm": options["diameter"] or 10.0, "kt_n_per_mm2": kt, "kr": kr,
        "milling": milling, "ae_mm": options["ae"] or 0.0, "helix_deg": options["helix"],
        "pitch_deg": parse_pitch(options["pitch"]),
    }  # fmt: skip


def _check_arc(milling: str, options: dict) -> None:
    """Ask for the dimensions that the arc of the cut needs; a straight-fluted slot needs none."""
    needed = [] if milling == "slot" else ["ae"]
    needed += ["diameter"] if milling != "slot" or options["helix"] else []
    for name in needed:
        if options[name] is None:
            raise SettingError(f"--{name} is missing.", f"Give --{name} in mm, or --milling slot.")


def speed_list(options: dict):
    """Speeds for which limits are asked, None where they are not."""
    import numpy as np

    first, last, step = (options[name] for name in ("first_rpm", "last_rpm", "step"))
    if first is None and last is None and step is None:
        return None
    if first is None or last is None:
        raise SettingError("--from and --to belong together.", "Give both, such as --from 4000 --to 20000.")
    if not (isfinite(first) and isfinite(last) and 0 < first <= last):
        raise SettingError(f"There are no speeds from {first:g} to {last:g} rpm.", "Give --from below --to.")
    step = step if step is not None else max((last - first) / 80, 1.0)
    count = int((last - first) / step * (1 + 1e-12)) + 1
    if count > MOST_SPEEDS:
        raise SettingError(f"{count} speeds are too many.", f"Choose --step so that {MOST_SPEEDS} will do.")
    return first + step * np.arange(count)


def points_of(case, cuts: list[tuple[float, float]]) -> list[dict]:
    """Verdict on each cut."""
    from shopmon.cutting.stability.semidiscretization import stability

    rows = []
    for rpm, ap_mm in cuts:
        found = stability(case, rpm, ap_mm)
        rows.append(
            {
                "rpm": rpm,
                "ap_mm": ap_mm,
                "spectral_radius": round(found.spectral_radius, 5),
                "verdict": "chatter" if found.chatters else "quiet",
                "kind": found.kind if found.kind in KINDS else None,
                "chatter_hz": None if found.chatter_hz is None else round(found.chatter_hz, 2),
            }
        )
    return rows


def limits_of(case, rpm, deepest_mm: float) -> list[dict]:
    """Limit of depth at each speed; null where it stays quiet as deep as was looked."""
    from shopmon.cutting.stability.depth_limits import depth_limits

    found = depth_limits(case, rpm, deepest_mm)
    return [
        {"rpm": round(float(n), 3), "ap_limit_mm": round(float(limit), 4) if isfinite(limit) else None}
        for n, limit in zip(rpm, found, strict=True)
    ]


def present_rpm(options: dict, cuts: list[tuple[float, float]]) -> float | None:
    """Speed of the cut as it is: the one told, or that of the first cut to judge."""
    return options["rpm"] or (cuts[0][0] if cuts else None)


def advice_of(case, options: dict, cuts: list[tuple[float, float]], limits: list[dict]) -> list[dict]:
    """Advice on the cut as it is: the one told, or the first of those to judge, or the best of the lobes."""
    from shopmon.cutting.advising.lobes import SpeedRange, lobe_advice

    asked = [rpm for rpm, _ in cuts] + [row["rpm"] for row in limits]
    speeds = SpeedRange(
        present_rpm=present_rpm(options, cuts),
        limits=limits_given(options),
        asked_rpm=max(asked, default=None),
        diameter_mm=options["diameter"],
    )
    ap_mm = options["ap"] or (cuts[0][1] if cuts else _rich_depth_mm(limits))
    if ap_mm is None:
        return []
    return [asdict(entry) for entry in lobe_advice(case, ap_mm, speeds)]


def limits_given(options: dict):
    """Limits of machine and tool."""
    from shopmon.cutting.advising.one_line import SpeedLimits

    return SpeedLimits(
        min_rpm=options["min_rpm"],
        max_rpm=options["max_rpm"],
        rated_rpm=options["tool_rpm"],
        max_cutting_speed_m_per_min=options["max_vc"],
    )


def earlier_tones(options: dict):
    """Lines of the same tool at other speeds, each written ``HZ,RPM``."""
    from shopmon.cutting.advising.one_line import ChatterTone

    found = []
    for text in options["earlier"]:
        try:
            hz, rpm = (float(part) for part in text.split(","))
        except ValueError:
            hz = rpm = 0.0
        if not (0 < hz < float("inf") and 0 < rpm < float("inf")):
            raise SettingError(
                f"--earlier {text!r} is not a tone with its speed.", "Write HZ,RPM, for example 1390,10500."
            )
        found.append(ChatterTone(frequency_hz=hz, rpm=rpm, flutes=options["flutes"]))
    return tuple(found)


def tone_advice(options: dict) -> list[dict]:
    """Advice from one chatter frequency."""
    from shopmon.cutting.advising.one_line import ChatterTone, advise

    if options["mode"] or options["at"] or options["first_rpm"] or options["last_rpm"]:
        raise SettingError(
            "--chatter-hz goes without --mode, --at, --from and --to.",
            "Ask either from a tone or from modes.",
        )
    pitch = parse_pitch(options["pitch"])
    tone = ChatterTone(
        frequency_hz=options["chatter_hz"],
        rpm=options["rpm"],
        flutes=options["flutes"],
        pitch_equal=pitch is None or max(pitch) - min(pitch) < 0.1,
        milling=options["milling"],
        diameter_mm=options["diameter"],
        ae_mm=options["ae"],
        ap_mm=options["ap"],
    )
    return [asdict(entry) for entry in advise(tone, limits_given(options), earlier_tones(options))]


def measured_result(options: dict):
    """Verdicts and limits from a measured receptance; also the cut, and how deep was looked."""
    from shopmon.cli.speeds_frf import frf_result
    from shopmon.cutting.stability.semidiscretization import CutCase

    if options["mode"] or options["chatter_hz"] is not None or options["wall"] is not None:
        raise SettingError(
            "--frf goes without --mode, --chatter-hz and --wall.", "Ask from a response, a tone or modes."
        )
    cuts, rpm = [parse_point(text) for text in options["at"]], speed_list(options)
    if not cuts and rpm is None:
        raise SettingError("There is nothing to judge.", "Give --at RPM,AP_MM, or --from and --to.")
    case = CutCase(**cut_values(options))
    deepest = options["deepest"] or DIAMETERS_DEEP * case.diameter_mm
    found = frf_result(case, options["frf"], cuts, rpm, deepest)
    return {"schema": SCHEMA, **found, "advice": []}, case, deepest


def modal_result(options: dict):
    """Verdicts, limits and advice from modes; also the cut, and how deep was looked."""
    case = stability_case(options)
    cuts, rpm = [parse_point(text) for text in options["at"]], speed_list(options)
    if not cuts and rpm is None:
        ap_mm = options["ap"] or options["wall"]
        if options["rpm"] is None or ap_mm is None:
            raise SettingError(
                "There is nothing to judge.", "Give --at RPM,AP_MM, or --from and --to, or --rpm and --ap."
            )
        cuts = [(options["rpm"], ap_mm)]
    deepest = options["deepest"] or DIAMETERS_DEEP * case.diameter_mm
    limits = [] if rpm is None else limits_of(case, rpm, deepest)
    result = {"schema": SCHEMA, "points": points_of(case, cuts)}
    if rpm is not None:
        result["limits"] = limits
    if options["wall"] is not None:  # before the advice, which takes longer to come to a refusal
        from shopmon.cli.speeds_wall import wall_of

        result["wall"] = wall_of(case, options, present_rpm(options, cuts) or float(rpm[0]))
    result["advice"] = advice_of(case, options, cuts, limits)
    return result, case, deepest


def _rich_depth_mm(limits: list[dict]) -> float | None:
    """A depth somewhat below the limit where speed times depth is largest."""
    known = [row for row in limits if row["ap_limit_mm"]]
    best = max(known, key=lambda row: row["rpm"] * row["ap_limit_mm"], default=None)
    return round(0.6 * best["ap_limit_mm"], 2) if best else None


@click.command("speeds")
@click.option("--mode", multiple=True, metavar="AXIS:HZ:DAMPING:STIFFNESS", help="Mode (N/m); repeatable.")
@click.option("--frf", multiple=True, metavar="XX:FILE", help="Measured receptance, CSV or UFF; repeatable.")
@cut_options.flutes
@click.option("--kt", type=float, metavar="N/MM2", help="Tangential force coefficient.")
@click.option("--kr", type=float, metavar="X", help="Radial over tangential coefficient.")
@click.option("--material", metavar="NAME", help="Instead of --kt and --kr: 7075, 316 … or an ISO 513 group.")
@cut_options.diameter
@cut_options.ae
@cut_options.milling
@click.option("--helix", type=float, default=0.0, metavar="DEGREES", help="Helix angle of the flutes.")
@click.option("--pitch", metavar="A,B,…", help="Angles from flute to flute where they differ, degrees.")
@click.option("--at", multiple=True, metavar="RPM,AP_MM", help="Cut to judge, the present one first.")
@click.option("--from", "first_rpm", type=float, metavar="RPM", help="Limits of depth from this speed")
@click.option("--to", "last_rpm", type=float, metavar="RPM", help="up to this one")
@click.option("--step", type=float, metavar="RPM", help="in these steps.")
@click.option("--deepest", type=float, metavar="MM", help="How deep to look; three diameters if not given.")
@click.option("--rpm", type=float, metavar="N", help="Present speed, if not that of the first --at.")
@click.option("--ap", type=float, metavar="MM", help="Wanted axial depth, if not that of the first --at.")
@click.option("--chatter-hz", type=float, metavar="HZ", help="Advise from this tone; give --rpm, --flutes.")
@click.option("--earlier", multiple=True, metavar="HZ,RPM", help="Tone of the same tool at another speed.")
@cut_options.min_rpm
@cut_options.max_rpm
@click.option("--tool-rpm", type=float, metavar="N", help="Highest speed marked on the tool or its holder.")
@click.option("--wall", type=float, metavar="MM", help="Height of a wall to finish: one pass or several?")
@click.option("--stickout", type=float, metavar="MM", help="Of the tool; with --wall.")
@click.option("--fz", type=float, metavar="MM", help="Feed per tooth; with --wall.")
@click.option("--flute-length", type=float, metavar="MM", help="With --wall; its height if not given.")
@click.option("--shank", type=float, metavar="MM", help="Shank diameter, with --wall; else as --diameter.")
@click.option("--max-vc", type=float, metavar="M/MIN", help="Highest cutting speed of tool and material.")
@click.option("--json", "json_file", metavar="-|FILE", help="Write JSON to standard output (-) or to a file.")
def command(json_file, **options):
    """Tell which speeds and depths are quiet, from the modes of the tool tip or from one chatter tone.

    With modes, semi-discretization decides, for climb milling unless --milling says otherwise. No speed is
    advised that the machine or the tool may not reach.

    Example: shopmon speeds --mode x:922:0.011:1.34e6 --flutes 2 --kt 600 --kr 0.33 --diameter 10 --ae 0.5
    --at 12000,4.0 --max-rpm 18000

    Example: shopmon speeds --chatter-hz 1432.6 --rpm 12000 --flutes 3 --max-rpm 18000

    Example: shopmon speeds --frf xx:tip-x.csv --frf yy:tip-y.csv --flutes 3 --material 7075 --milling slot
    --from 6000 --to 18000
    """
    for name in POSITIVE:
        if options[name] is not None and not (isfinite(options[name]) and options[name] > 0):
            raise SettingError(f"--{name.replace('_', '-')} must be above 0, not {options[name]:g}.")
    from shopmon.cli.speeds_text import as_text

    case = deepest = None
    if options["earlier"] and options["chatter_hz"] is None:
        raise SettingError("--earlier goes with --chatter-hz.", "Give the present tone with --chatter-hz.")
    if options["chatter_hz"] is not None and not options["frf"]:
        result = {"schema": SCHEMA, "points": [], "advice": tone_advice(options)}
    else:
        result, case, deepest = measured_result(options) if options["frf"] else modal_result(options)
    if json_file is None:
        click.echo(as_text(result, case, deepest))
    else:
        write_json(result, json_file)
