"""``shopmon tap``: the modes of the tool tip from hits with a hammer."""

from pathlib import Path

import click

from shopmon.cli.json_output import write_json
from shopmon.errors import SettingError

NEWTONS = {"N": 1.0, "lbf": 4.4482216152605}  # the pound-force by definition (NIST SP 811)
ACCELERATIONS = {"m/s2": 1.0, "g": 9.80665}


@click.command("tap")
@click.argument("recording", type=click.Path(path_type=Path))
@click.option(
    "--force", metavar="NAME", help="Signal or channel of the hammer; without it no stiffness is found."
)
@click.option(
    "--response", metavar="NAME", help="Signal or channel of the accelerometer; by name or number from 1."
)
@click.option("--axis", type=click.Choice(["x", "y"]), default="x", show_default=True,
              help="Direction of the hits: x along the feed, y across it.")  # fmt: skip
@click.option("--rate", type=float, metavar="HZ", help="Samples per second of a table that does not say it.")
@click.option("--force-unit", type=click.Choice(list(NEWTONS)), default="N", show_default=True)
@click.option("--unit", type=click.Choice(list(ACCELERATIONS)), default="m/s2", show_default=True,
              help="Of the accelerometer.")  # fmt: skip
@click.option("--force-full-scale", type=float, metavar="X", help="Force at full scale of a sound file.")
@click.option("--full-scale", type=float, metavar="X", help="Acceleration at full scale of a sound file.")
@click.option("--from", "lowest", type=float, default=300.0, show_default=True, metavar="HZ")
@click.option("--to", "highest", type=float, default=5000.0, show_default=True, metavar="HZ")
@click.option(
    "--record", type=float, default=0.5, show_default=True, metavar="S", help="Length of a hit's record."
)
@click.option(
    "--hits", type=click.IntRange(1, 20), default=5, show_default=True, help="Good hits wanted, with 'live'."
)
@click.option("--source", metavar="mic|NAME|PATH", default="mic", help="What to listen to, with 'live'.")
@click.option("--device", metavar="NAME", help="Sound input, with 'live'; see 'shopmon devices'.")
@click.option("--settings", "settings_file", type=click.Path(path_type=Path), metavar="FILE",
              help="Settings file (TOML), with 'live'.")  # fmt: skip
@click.option("--estimator", type=click.Choice(["H1", "H2"]), default="H1", show_default=True)
@click.option("--uff", type=click.Path(path_type=Path), help="Write the receptance there, as data set 58.")
@click.option("--json", "json_file", metavar="-|FILE", help="Write JSON to standard output (-) or to a file.")
def command(recording, json_file, uff, **options):
    """Find the tool tip's modes from a recording of hits, or from a response in a universal file.

    Spindle stopped and disabled, emergency stop pressed; eye protection; a soft tip, light hits off the
    cutting edges. RECORDING is a sound file or a table (CSV, text, NPY, MAT) with hammer and accelerometer
    side by side, or a .uff file with a frequency response; "live" listens to the sensor now and says what it
    thinks of each hit.

    Example: shopmon tap hits.csv --force 1 --response 2 --unit g --axis y

    Example: shopmon tap live --device USB
    """
    if str(recording) == "live":
        from shopmon.service.tap.live import hear_hits

        result = hear_hits(
            _settings(options), _live(options), lambda words: click.echo(words, err=json_file is not None)
        )
    else:
        result = _judge(recording, uff, options)
    if json_file is not None:
        write_json(result, json_file)
        return
    from shopmon.cli.tap_text import as_text

    click.echo(as_text(result, recording.name))


def _judge(recording: Path, uff: Path | None, options: dict) -> dict:
    from shopmon.records.response_file import SUFFIXES, read_response, write_response
    from shopmon.service.tap import judging as tap_test

    settings = _settings(options)
    if recording.suffix.lower() in SUFFIXES:
        number = options["response"]
        if number is not None and not number.isdigit():
            raise SettingError("--response of a universal file is a number.", "Count its responses from 1.")
        measured = read_response(recording, int(number) if number else None)
        result = tap_test.from_response(measured, settings)
    elif options["force"] is None:
        if uff is not None:
            raise SettingError("Without a force there is no receptance to write.", "Give --force.")
        response, rate = _signal(recording, options["response"], options, "full_scale")
        return tap_test.without_force(response * ACCELERATIONS[options["unit"]], rate, settings)
    else:
        force, rate = _signal(recording, options["force"], options, "force_full_scale")
        response, _ = _signal(recording, options["response"], options, "full_scale")
        result, measured = tap_test.with_force(
            force * NEWTONS[options["force_unit"]], response * ACCELERATIONS[options["unit"]], rate, settings
        )
    if uff is not None:
        write_response(uff, measured, settings.axis, settings.lowest_hz, settings.highest_hz)
    return result


def _settings(options: dict):
    from shopmon.service.tap.judging import TapSettings

    return TapSettings(
        lowest_hz=options["lowest"],
        highest_hz=options["highest"],
        record_s=options["record"],
        axis=options["axis"],
        estimator=options["estimator"],
    )


def _live(options: dict):
    """Return what to listen to, and which channel is what."""
    from shopmon.service.tap.live import Live
    from shopmon.service.tap.session import TapChannels

    numbers = {}
    for name in ("force", "response"):
        given = options[name]
        if given is not None and not (given.isdigit() and int(given) > 0):
            raise SettingError(f"--{name} of a live test is a number.", "Count the channels from 1.")
        numbers[name] = int(given) - 1 if given else None
    scales = (options["force_full_scale"], options["full_scale"])
    if numbers["force"] is not None and None in scales:
        raise SettingError(
            "A sound input says nothing of newtons and g.", "Give --force-full-scale and --full-scale."
        )
    forced = numbers["force"] is not None
    channels = TapChannels(
        response=numbers["response"] or 0,
        force=numbers["force"],
        force_full_scale=scales[0] * NEWTONS[options["force_unit"]] if forced else 1.0,
        response_full_scale=scales[1] * ACCELERATIONS[options["unit"]] if forced else 1.0,
    )
    return Live(options["source"], options["device"], options["settings_file"], channels, options["hits"])


def _signal(recording: Path, column: str | None, options: dict, scale: str):
    from shopmon.capture.table_file import SUFFIXES
    from shopmon.service.measured_signal import read_signal

    full_scale = options[scale]
    sound = recording.suffix.lower() not in SUFFIXES
    if sound and options["force"] is not None and full_scale is None:
        raise SettingError(
            "A sound file says nothing of newtons and g.", "Give --force-full-scale and --full-scale."
        )
    signal = read_signal(
        recording,
        rate_hz=options["rate"],
        column=column,
        full_scale=full_scale if sound else None,
        unit="raw" if sound and full_scale else None,
    )
    return signal.samples, signal.sample_rate_hz
