"""``shopmon simulate``: write a physics-based simulated cut as sound, and the truth about it beside it."""

import json
import sys
from dataclasses import replace
from pathlib import Path

import click
import soundfile

from shopmon.cli import cut_options
from shopmon.cli.modes import parse_mode
from shopmon.cutting.materials import MATERIALS, material
from shopmon.cutting.nouns import EndMillType, require_positive
from shopmon.cutting.simulation.plan import SENSORS, Engagement, Neighbour, PassPlan, Spindle
from shopmon.cutting.simulation.scenarios import SCENARIOS, scenario
from shopmon.errors import SettingError, StoreError

FORMATS = {".flac": "FLAC", ".wav": "WAV"}
SUBTYPES = {"16": "PCM_16", "24": "PCM_24"}


def parse_neighbour(text: str) -> Neighbour:
    """Read another machine as ``RPM:FLUTES[:LEVEL_DB[:START_S]]``."""
    try:
        rpm, flutes, *rest = (float(number) for number in text.split(":"))
        level, start = (rest + [-10.0, 0.0][len(rest) :]) if len(rest) <= 2 else (None, None)
        if level is None or not flutes.is_integer():
            raise ValueError
    except ValueError as exc:
        raise SettingError(
            f"--neighbour {text!r} is not a machine.", "Write RPM:FLUTES[:LEVEL_DB[:START_S]]."
        ) from exc
    return Neighbour(rpm=rpm, flutes=int(flutes), level_db=level, start_s=start)


def given(**values) -> dict:
    """Keep the options that were given."""
    return {name: value for name, value in values.items() if value is not None}


def stretched(engagement: Engagement, factor: float, ap_mm: float | None) -> Engagement:
    """The same engagement in a recording longer by `factor`, at another final depth where one is given."""
    start, end = engagement.ramp
    depths = {}
    if ap_mm is not None:
        share = engagement.ap_start_mm / engagement.ap_max_mm
        falling = engagement.ap_end_mm is not None and engagement.ap_end_mm < engagement.ap_start_mm
        depths = {
            "ap_start_mm": ap_mm * share,
            "ap_end_mm": engagement.ap_end_mm
            and ap_mm * (engagement.ap_end_mm / engagement.ap_max_mm if falling else 1),
        }
    return replace(
        engagement,
        start_s=engagement.start_s * factor,
        end_s=engagement.end_s * factor,
        ramp_start_s=start * factor,
        ramp_end_s=end * factor,
        **depths,
    )


def turned(spindle: Spindle, options: dict) -> Spindle:
    """The scenario's spindle at the speeds that were given."""
    if options["nominal_rpm"] is not None:
        spindle = replace(spindle, nominal_rpm=options["nominal_rpm"])
    if options["rpm"] is None:
        return spindle
    require_positive("--rpm", options["rpm"])
    nominal = options["nominal_rpm"] or options["rpm"]
    if not 0.5 <= options["rpm"] / nominal <= 1.2:
        raise SettingError(
            f"--rpm {options['rpm']:g} is too far from --nominal-rpm {nominal:g}.",
            "The true speed lies between half and 1.2 times the nominal one.",
        )
    return replace(spindle, nominal_rpm=nominal, slip=1 - options["rpm"] / nominal)


def planned(options: dict) -> PassPlan:
    """Build the plan: the scenario, changed by the options that were given."""
    plan = scenario(options["scenario"])
    if options["duration"] is not None and options["duration"] <= 0:
        raise SettingError(f"--duration must be above 0 s, not {options['duration']:g}.")
    factor = 1.0 if options["duration"] is None else options["duration"] / plan.duration_s
    spindle = turned(plan.spindle, options)
    moved = given(
        start_s=spindle.start_s and spindle.start_s * factor,
        stop_s=spindle.stop_s and spindle.stop_s * factor,
    )
    return replace(
        plan,
        duration_s=plan.duration_s * factor,
        assembly=tool(plan, options),
        spindle=replace(spindle, **moved),
        engagements=tuple(stretched(item, factor, options["ap"]) for item in plan.engagements),
        surroundings=surroundings(plan, options, factor),
        **given(
            sample_rate_hz=options["rate"],
            ae_mm=options["ae"],
            milling=options["milling"],
            feed_per_tooth_mm=options["feed_per_tooth"],
            material=options["material"] and material(options["material"]),
            modes=tuple(parse_mode(text) for text in options["mode"]) or None,
        ),
    )


def tool(plan: PassPlan, options: dict):
    """The scenario's tool assembly with the dimensions that were given."""
    mill: EndMillType = plan.assembly.mill
    changes = given(NOF=options["flutes"], DC=options["diameter"], FHA=options["helix"])
    if changes:
        mill = replace(mill, label="", pitch_deg=None, **changes)
    return replace(plan.assembly, mill=mill, **given(runout_um=options["runout_um"]))


def surroundings(plan: PassPlan, options: dict, factor: float):
    """The scenario's surroundings with what was given."""
    around = plan.surroundings
    neighbours = [replace(item, start_s=item.start_s * factor) for item in around.neighbours]
    neighbours += [parse_neighbour(text) for text in options["neighbour"]]
    return replace(
        around,
        neighbours=tuple(neighbours),
        **given(
            snr_db=options["snr_db"],
            sensor=options["sensor"],
            coolant=options["coolant"],
            level_dbfs=options["level_dbfs"],
        ),
    )


def write(out: Path, samples, truth: dict, rate: float, bits: str) -> Path:
    """Write sound and truth; returns where the truth went.

    Raises
    ------
    StoreError
        Where the files cannot be written.
    """
    beside = out.with_suffix(".truth.json")
    try:
        soundfile.write(out, samples, round(rate), format=FORMATS[out.suffix.lower()], subtype=SUBTYPES[bits])
        beside.write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")
    except (OSError, soundfile.LibsndfileError) as exc:
        raise StoreError(
            f"{out} cannot be written: {str(exc).rstrip('.')}.",
            "Choose a folder that exists and may be written.",
        ) from exc
    return beside


def check_out(out: Path, rate: float, bits: str) -> None:
    """Refuse what could not be written before minutes are spent on it."""
    if out.suffix.lower() not in FORMATS:
        raise SettingError(f"{out} is neither .flac nor .wav.", "Name the recording OUT.flac or OUT.wav.")
    if not rate.is_integer():  # nan and infinity are none either
        raise SettingError(f"--rate must be a whole number of hertz, not {rate:g}.")
    if not soundfile.check_format(FORMATS[out.suffix.lower()], SUBTYPES[bits]):
        raise SettingError(f"{out.suffix} cannot hold {bits} bits.")
    if out.is_dir() or not out.parent.is_dir():
        raise StoreError(f"{out} cannot be written.", "Choose a file in a folder that exists.")


def summary(out: Path, plan: PassPlan, truth: dict) -> str:
    """One line: what was written and what is true of it."""
    rpm = truth["spindle"]["true_rpm"]
    cut_time = sum(end - start for start, end in truth["engaged"])
    speed = f"{rpm:.0f} rpm ({plan.spindle.nominal_rpm:g} on the display)"
    told = f"{out}: {plan.duration_s:g} s, {speed}, {plan.flutes} flutes, {cut_time:.1f} s in the cut"
    if not truth["chatter"]:
        return f"{told}, no chatter (invented data)"
    first = truth["chatter"][0]
    return f"{told}, chatter from {first['start_s']:.2f} s at {first['frequency_hz']:.1f} Hz (invented data)"


def list_scenarios(context: click.Context, _parameter, wanted: bool) -> None:
    """Print the scenarios and stop."""
    if wanted:
        for name in SCENARIOS:
            click.echo(f"{name:16} {scenario(name).description}")
        context.exit()


@click.command()
@click.argument("out", type=click.Path(path_type=Path))
@click.option(
    "--scenario", default="pass-that-rings", metavar="NAME", show_default=True, help="What to start from."
)
@click.option(
    "--list-scenarios",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=list_scenarios,
    help="Print the scenarios.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    help="Same options and seed, same sound.",
)
@click.option("--duration", type=float, metavar="S", help="Length; engagements stretch with it.")
@click.option("--rpm", type=float, metavar="N", help="True spindle speed in air.")
@click.option("--nominal-rpm", type=float, metavar="N", help="Speed on the display.")
@cut_options.flutes
@cut_options.diameter
@click.option("--ap", type=float, metavar="MM", help="Largest axial depth.")
@cut_options.ae
@cut_options.milling
@click.option("--feed-per-tooth", type=float, metavar="MM", help="Feed per tooth fz.")
@click.option("--helix", type=float, metavar="DEGREES", help="Helix angle.")
@click.option("--runout-um", type=float, metavar="UM", help="Eccentricity of the edges.")
@click.option(
    "--mode",
    multiple=True,
    metavar="AXIS:HZ:DAMPING:STIFFNESS",
    help="Mode of the tool tip (N/m); repeatable.",
)
@click.option("--material", type=click.Choice(list(MATERIALS)), help="Work material.")
@click.option("--snr-db", type=float, metavar="DB", help="Quiet cut over background noise.")
@click.option("--level-dbfs", type=float, metavar="DB", help="Level of the quiet cut re full scale.")
@click.option("--sensor", type=click.Choice(SENSORS), help="What listens.")
@click.option("--coolant/--no-coolant", default=None, help="Coolant noise.")
@click.option(
    "--neighbour",
    multiple=True,
    metavar="RPM:FLUTES[:LEVEL_DB[:START_S]]",
    help="Another machine; repeatable.",
)
@click.option("--rate", type=float, default=48000, metavar="HZ", show_default=True, help="Sample rate.")
@click.option(
    "--bits", type=click.Choice(list(SUBTYPES)), default="16", show_default=True, help="Bits per sample."
)
def command(out: Path, **options):
    """Simulate a cut and write it as sound, its truth beside it (OUT.truth.json).

    The dynamics are those of regenerative milling; tools, parts and machines are invented.

    Example: shopmon simulate rings.flac --scenario pass-that-rings --seed 3 --snr-db 12
    """
    from shopmon.cutting.simulation.pass_sound import render

    check_out(out, options["rate"], options["bits"])
    plan = planned(options)
    with click.progressbar(length=1000, label="Simulating", file=sys.stderr) as bar:
        samples, truth = render(
            plan, options["seed"], progress=lambda share: bar.update(int(share * 1000) - bar.pos)
        )
        bar.update(1000 - bar.pos)
    write(out, samples, truth, options["rate"], options["bits"])
    click.echo(summary(out, plan, truth))
