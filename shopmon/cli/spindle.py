"""``shopmon spindle``: the spindle and its bearings from one idle run."""

from pathlib import Path

import click

from shopmon.cli.json_output import write_json
from shopmon.errors import SettingError


@click.command("spindle")
@click.argument("recording", type=click.Path(path_type=Path))
@click.option("--rpm", type=float, metavar="N", help="Speed of the run as programmed, rpm.")
@click.option("--speeds", metavar="N,N,…", help="Steady speeds in rpm, with 'live'.")
@click.option("--run-up", is_flag=True, help="A slow run-up over these speeds at the end, with 'live'.")
@click.option("--source", metavar="mic|NAME|PATH", default="mic", help="What to listen to, with 'live'.")
@click.option("--device", metavar="NAME", help="Sound input, with 'live'; see 'shopmon devices'.")
@click.option("--settings", "settings_file", type=click.Path(path_type=Path), metavar="FILE",
              help="Settings file (TOML), with 'live'.")  # fmt: skip
@click.option(
    "--bearing",
    metavar="TEXT",
    help="Balls, their diameter, the diameter of the circle through their centres and the contact angle, "
    "such as 12:6.35:40:15; or multiples of the rotation, such as outer=3.58,inner=5.42.",
)
@click.option("--rate", type=float, metavar="HZ", help="Samples per second of a table that does not say it.")
@click.option(
    "--column", metavar="NAME", help="Which signal or channel of several; by name, or number from 1."
)
@click.option(
    "--full-scale", type=float, metavar="X", help="What full scale of a sound file means, with --unit."
)
@click.option("--unit", metavar="UNIT", help="Unit of --full-scale, or of a table's numbers, such as g.")
@click.option("--json", "json_file", metavar="-|FILE", help="Write JSON to standard output (-) or to a file.")
def command(recording, rpm, json_file, **options):
    """Check the spindle from a recording of an idle run at one steady speed.

    RECORDING is WAV, FLAC, Ogg, or a table of numbers (CSV, text, NPY, MAT). Ten seconds are good, from an
    accelerometer on the spindle's housing. No cutter in the spindle, guards shut, stand clear. "live" asks
    for one speed after the other and listens now; nothing is kept but what --json writes.

    Example: shopmon spindle idle.flac --rpm 6000 --bearing 12:6.35:40:15

    Example: shopmon spindle live --speeds 3000,6000,12000 --run-up
    """
    if str(recording) == "live":
        _live(json_file, **options)
        return
    if rpm is None:
        raise SettingError("The speed of the run is missing.", "Give --rpm.")
    from shopmon.service.measured_signal import read_signal
    from shopmon.service.spindle_check import check_spindle, tones_from_text

    tones = tones_from_text(options["bearing"]) if options["bearing"] else None
    signal = read_signal(
        recording,
        rate_hz=options["rate"],
        column=options["column"],
        full_scale=options["full_scale"],
        unit=options["unit"],
    )
    result = check_spindle(signal, rpm, tones)
    if json_file is not None:
        write_json(result, json_file)
        return
    from shopmon.cli.spindle_text import as_text

    click.echo(as_text(result, recording.name))


def _live(
    json_file, speeds, run_up, source, device, settings_file, bearing, column, full_scale, unit, rate
) -> None:
    from shopmon.cli.spindle_text import check_as_text
    from shopmon.service.spindle_live import hear_check, plan_of

    if rate is not None:
        raise SettingError("--rate is for tables of numbers: a sensor says its own rate.", "Leave it out.")
    plan = plan_of(speeds, run_up, bearing, column, full_scale, unit)

    def tell(words: str) -> None:
        click.echo(words, err=json_file is not None)

    def ready(words: str) -> None:
        click.prompt(f"{words} Then press Enter", default="", show_default=False, err=json_file is not None)

    result = hear_check(plan, source, device, settings_file, tell, ready)
    if json_file is not None:
        write_json(result, json_file)
        return
    click.echo(check_as_text(result))
