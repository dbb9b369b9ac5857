"""``shopmon inspect``: one recording, analysed as the monitor would hear it."""

import sys
from pathlib import Path

import click

from shopmon.cli import cut_options
from shopmon.cli.json_output import write_json
from shopmon.errors import RecordingError, SettingError


@click.command("inspect")
@click.argument("recording", type=click.Path(path_type=Path))
@click.option("--rpm", type=float, metavar="N", help="Spindle speed that was programmed, in rpm.")
@cut_options.flutes
@cut_options.min_rpm
@cut_options.max_rpm
@click.option(
    "--sensor",
    type=click.Choice(["microphone", "accelerometer"]),
    default="microphone",
    show_default=True,
    help="What the recording was made with.",
)
@click.option("--full-scale", type=float, metavar="X", help="What full scale means, with --unit.")
@click.option("--unit", metavar="UNIT", help="Unit of --full-scale, such as g.")
@cut_options.milling
@cut_options.diameter
@cut_options.ae
@click.option("--ap", type=float, metavar="MM", help="Axial depth of the cut.")
@click.option(
    "--false-alarms-per-hour",
    type=float,
    metavar="X",
    help="How many you would accept per hour of cutting, 0.001 to 20: fewer and later, or more and earlier. "
    "A wish; not yet calibrated.",
)
@click.option("--at", "at_s", type=float, metavar="SECONDS", help="Explain this moment, line by line.")
@click.option("--cold", is_flag=True, help="Ignore the starting state saved beside the recording.")
@click.option("--json", "json_file", metavar="-|FILE", help="Write JSON to standard output (-) or to a file.")
def command(
    recording,
    rpm,
    flutes,
    min_rpm,
    max_rpm,
    sensor,
    full_scale,
    unit,
    milling,
    diameter,
    ae,
    ap,
    false_alarms_per_hour,
    at_s,
    cold,
    json_file,
):
    """Analyse a WAV, FLAC or OGG recording: spindle speed, cuts, chatter, and what to do about it.

    Milling, diameter, ae and ap make the advice surer. A higher speed is advised only up to --max-rpm.

    Example: shopmon inspect pass.flac --rpm 12000 --flutes 3
    """
    setup, settings = _checked(rpm, flutes, min_rpm, max_rpm, sensor, false_alarms_per_hour)
    _check_files(recording, json_file)
    if (full_scale is None) != (unit is None):
        raise SettingError(
            "--full-scale and --unit belong together.", "Give both, such as --full-scale 16 --unit g."
        )
    from shopmon.service.inspection import inspect_recording

    result = inspect_recording(
        recording,
        setup=setup,
        settings=settings,
        cold=cold,
        full_scale=full_scale,
        unit=unit or "FS",
        facts=_facts(milling, diameter, ae, ap, min_rpm, max_rpm),
        at_s=at_s,
        progress=_progress() if sys.stderr.isatty() else None,
    )
    if json_file is None:
        from shopmon.cli.inspection_text import as_text

        click.echo(as_text(result, recording.name))
        if "moment" in result:
            from shopmon.cli.moment_text import moment_as_text

            click.echo("\n" + moment_as_text(result["moment"]))
    else:
        write_json(result, json_file)


def _checked(rpm, flutes, min_rpm, max_rpm, sensor, false_alarms_per_hour):
    from shopmon.listening.preferences import Preferences
    from shopmon.listening.setup import ListenerSettings, Setup

    bounds = {key: value for key, value in (("min_rpm", min_rpm), ("max_rpm", max_rpm)) if value is not None}
    try:
        settings = ListenerSettings(sensor=sensor, **bounds)
        wanted = Preferences(false_alarms_per_hour=false_alarms_per_hour)
        return Setup(nominal_rpm=rpm, flutes=flutes, preferences=wanted), settings
    except ValueError as exc:
        raise SettingError(
            f"That cannot be: {exc}.",
            "Check --rpm, --flutes, --min-rpm, --max-rpm and --false-alarms-per-hour.",
        ) from exc


def _facts(milling, diameter, ae, ap, min_rpm, max_rpm):
    from shopmon.cutting.advising.one_line import SpeedLimits
    from shopmon.listening.counsel import CutFacts

    return CutFacts(
        milling=milling,
        diameter_mm=diameter,
        ae_mm=ae,
        ap_mm=ap,
        limits=SpeedLimits(min_rpm=min_rpm, max_rpm=max_rpm),
    )


def _check_files(recording: Path, json_file: str | None) -> None:
    """Refuse a recording without a name, and a result that would replace the recording."""
    if not recording.name:
        raise RecordingError(f"{recording} is a folder, not a recording.", "Give the recording in it.")
    same = json_file not in (None, "-") and Path(json_file).resolve() == recording.resolve()
    if same:
        raise SettingError("--json names the recording itself, which would be lost.", "Name another file.")


def _progress():
    """Return a function that shows the share done on standard error, in whole percent."""
    shown = -1

    def show(share: float) -> None:
        nonlocal shown
        percent = int(100 * share)
        if percent != shown:
            shown = percent
            end = "\r" if percent < 100 else "\r            \r"
            click.echo(f"{percent:3d} % heard{end}", nl=False, err=True)

    return show
