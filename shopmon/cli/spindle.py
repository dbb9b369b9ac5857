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
@click.option("--tach", metavar="NAME", help="Which signal or channel is a tachometer's, one pulse a turn.")
@click.option("--trial", metavar="G:MM:DEG", help="Trial weight for balancing: grams, radius in mm, degrees "
              "from the tachometer's mark against the direction of rotation.")  # fmt: skip
@click.option(
    "--trial-run", type=click.Path(path_type=Path), metavar="FILE", help="The run with the trial weight."
)
@click.option("--after-run", type=click.Path(path_type=Path), metavar="FILE",
              help="The run with the correction in its place.")  # fmt: skip
@click.option("--turning-kg", type=float, metavar="KG", help="Mass of all that turns, for the balance grade.")
@click.option("--json", "json_file", metavar="-|FILE", help="Write JSON to standard output (-) or to a file.")
def command(recording, rpm, json_file, **options):
    """Check the spindle from a recording of an idle run at one steady speed.

    RECORDING is WAV, FLAC, Ogg, or a table of numbers (CSV, text, NPY, MAT). Ten seconds are good, from an
    accelerometer on the spindle's housing. No cutter in the spindle, guards shut, stand clear. "live" asks
    for one speed after the other and listens now; nothing is kept but what --json writes.

    Example: shopmon spindle idle.flac --rpm 6000 --bearing 12:6.35:40:15

    With a tachometer and a trial weight, where the maker provides for one, it tells the imbalance in one
    plane.

    Example: shopmon spindle live --speeds 3000,6000,12000 --run-up

    Example: shopmon spindle before.wav --rpm 6000 --trial 0.8:30:90 --trial-run with.wav --turning-kg 4.2
    """
    if str(recording) == "live":
        _live(json_file, **options)
        return
    if rpm is None:
        raise SettingError("The speed of the run is missing.", "Give --rpm.")
    result = _recorded(recording, rpm, **options)
    if json_file is not None:
        write_json(result, json_file)
        return
    from shopmon.cli.spindle_text import as_text

    click.echo(as_text(result, recording.name))


def _recorded(
    recording, rpm, *, bearing, rate, column, full_scale, unit, tach, trial, trial_run, after_run, turning_kg,
    speeds, run_up, **_,
) -> dict:  # fmt: skip
    """Judge a recording, with the balance where there is a run with a trial weight."""
    from shopmon.service.measured_signal import read_signal
    from shopmon.service.spindle.balance import balance_of, trial_from_text
    from shopmon.service.spindle.one_run import check_spindle, tones_from_text

    if speeds or run_up:
        raise SettingError("--speeds and --run-up are for 'live'.", "Give --rpm for a recording.")
    if bool(trial) != bool(trial_run):
        raise SettingError(
            "--trial and --trial-run belong together.", "Give the weight, and the run with it."
        )
    if (turning_kg is not None or after_run) and not trial:
        raise SettingError(
            "Without a trial weight there is no balance: vibration alone is none.",
            "Give --trial and --trial-run too.",
        )
    weight = trial_from_text(trial) if trial else None
    tones = tones_from_text(bearing) if bearing else None

    def judged(file: Path, tones=None) -> dict:
        signal = read_signal(file, rate_hz=rate, column=column, full_scale=full_scale, unit=unit, tach=tach)
        return check_spindle(signal, rpm, tones)

    result = judged(recording, tones)
    if weight is not None:
        after = judged(after_run) if after_run else None
        result["balance"] = balance_of(result, judged(trial_run), weight, after=after, mass_kg=turning_kg)
    return result


def _live(
    json_file, speeds, run_up, source, device, settings_file, bearing, column, full_scale, unit, rate,
    tach, trial, trial_run, after_run, turning_kg,
) -> None:  # fmt: skip
    from shopmon.cli.spindle_text import check_as_text
    from shopmon.service.spindle.balance import trial_from_text
    from shopmon.service.spindle.live import Sitting, hear_balance, hear_check, plan_of

    if rate is not None:
        raise SettingError("--rate is for tables of numbers: a sensor says its own rate.", "Leave it out.")
    if tach or trial_run or after_run or (turning_kg is not None and not trial):
        raise SettingError(
            "--tach, --trial-run and --after-run are for recordings; --turning-kg goes with --trial.",
            "Live, the source's own tachometer is heard and the second run is asked for.",
        )
    plan = plan_of(speeds, run_up, bearing, column, full_scale, unit)

    def tell(words: str) -> None:
        click.echo(words, err=json_file is not None)

    def ready(words: str) -> None:
        click.prompt(f"{words} Then press Enter", default="", show_default=False, err=json_file is not None)

    sitting = Sitting(source=source, device=device, settings_file=settings_file, tell=tell, ready=ready)
    if trial:
        result = hear_balance(plan, trial_from_text(trial), turning_kg, sitting)
    else:
        result = hear_check(plan, sitting)
    if json_file is not None:
        write_json(result, json_file)
        return
    click.echo(check_as_text(result))
