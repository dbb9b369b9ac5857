"""``shopmon spindle``: the spindle and its bearings from one idle run."""

from pathlib import Path

import click

from shopmon.cli.json_output import write_json


@click.command("spindle")
@click.argument("recording", type=click.Path(path_type=Path))
@click.option("--rpm", type=float, required=True, metavar="N", help="Speed of the run as programmed, rpm.")
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
def command(recording, rpm, bearing, rate, column, full_scale, unit, json_file):
    """Check the spindle from a recording of an idle run at one steady speed.

    RECORDING is WAV, FLAC, Ogg, or a table of numbers (CSV, text, NPY, MAT). Ten seconds are good, from an
    accelerometer on the spindle's housing. No cutter in the spindle, guards shut, stand clear.

    Example: shopmon spindle idle.flac --rpm 6000 --bearing 12:6.35:40:15
    """
    from shopmon.service.measured_signal import read_signal
    from shopmon.service.spindle_check import check_spindle, tones_from_text

    tones = tones_from_text(bearing) if bearing else None
    signal = read_signal(recording, rate_hz=rate, column=column, full_scale=full_scale, unit=unit)
    result = check_spindle(signal, rpm, tones)
    if json_file is not None:
        write_json(result, json_file)
        return
    from shopmon.cli.spindle_text import as_text

    click.echo(as_text(result, recording.name))
