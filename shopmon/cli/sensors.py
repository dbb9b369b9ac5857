"""``shopmon sensors``: what a sensor's full scale means, how it is fixed, and what it may be asked."""

from contextlib import contextmanager

import click

from shopmon.cli.data_options import data_options, place_of
from shopmon.cli.json_output import write_json
from shopmon.errors import SettingError

AGAIN = "Press Enter"


def _json(schema: str):
    return click.option("--json", "json_file", metavar="-|FILE", help=f"Write JSON ({schema}).")


SOURCE = click.option(
    "--source", metavar="mic|NAME|PATH", default="mic", show_default=True, help="Which sensor."
)
DEVICE = click.option("--device", metavar="NAME", help="Its sound input or port; see 'shopmon devices'.")


@click.group("sensors", invoke_without_command=True)
@data_options
@click.pass_context
def command(context, data_dir, settings_file):
    """Sensors: calibrate them, say how they are fixed, see what they may be asked.

    Without a further word the sensors of the settings are listed. What measures needs the sensor for itself:
    while the monitor runs, use its page Sensors instead.

    Example: shopmon sensors show --source spindle
    """
    context.obj = (data_dir, settings_file)
    if context.invoked_subcommand is None:
        context.invoke(list_sensors, json_file=None)


@command.command("list")
@_json("shopmon.sensor-list/1")
@click.pass_obj
def list_sensors(place, json_file):
    """List the sensors of the settings and what is kept of each; none is opened.

    Example: shopmon sensors list
    """
    from shopmon.service.sensors.bench import known_sensors
    from shopmon.service.sensors.words import calibration_lines

    told = known_sensors(*place_of(*place))
    if json_file is not None:
        write_json(told, json_file)
    if json_file == "-":
        return
    if not told["sources"]:
        click.echo(
            'No sensor is named in the settings. A microphone: shopmon sensors show --device "its name".'
        )
    for sensor in told["sources"]:
        described = ", ".join(
            filter(None, (sensor["kind"], sensor["device"], sensor["part"], sensor["mounting"]))
        )
        click.echo(f"{sensor['source']}: {described}")
        kept = sensor["calibration"]
        for line in calibration_lines(kept, kept["t"] or 0.0) if kept else ["Not calibrated."]:
            click.echo(f"  {line}")


@command.command("show")
@SOURCE
@DEVICE
@_json("shopmon.sensors/1")
@click.pass_obj
def show(place, source, device, json_file):
    """Open a sensor and say what it delivers, what its full scale means, and what it may be asked.

    Example: shopmon sensors show --source spindle --json -
    """
    with _bench(place, source, device, json_file) as bench:
        _tell(bench, json_file)


@command.command("describe")
@SOURCE
@DEVICE
@click.option("--part", metavar="NUMBER", help="Such as IIS3DWB, or 'other accelerometer'.")
@click.option(
    "--mounting", metavar="HOW", default="not said", help="screwed, glued, wax, magnet, tape or loose."
)
@click.option(
    "--resonance-hz", type=float, metavar="HZ", help="Of the mounted sensor, where it was measured."
)
@_json("shopmon.sensors/1")
@click.pass_obj
def describe(place, source, device, part, mounting, resonance_hz, json_file):
    """Say which part it is and how it is fixed: that decides how high it sees.

    Example: shopmon sensors describe --source spindle --part IIS3DWB --mounting screwed
    """
    with _bench(place, source, device, json_file) as bench:
        bench.desk.describe({"part": part, "mounting": mounting, "resonance_hz": resonance_hz})
        _tell(bench, json_file)


@command.command("turn-over")
@SOURCE
@DEVICE
@_json("shopmon.calibration/1")
@click.pass_obj
def turn_over(place, source, device, json_file):
    """Calibrate an accelerometer by gravity: each of its three axes once up and once down.

    Example: shopmon sensors turn-over --source spindle
    """
    from shopmon.service.sensors.desk import CAUTIONS
    from shopmon.service.sensors.words import PLACE_WORDS

    for caution in CAUTIONS:
        click.echo(f"  ! {caution}", err=True)
    with _bench(place, source, device, json_file) as bench:
        for name, words in PLACE_WORDS.items():
            _ask(f"Lay it so that {words}, against a square block; hold it still. {AGAIN}")
            told = bench.desk.measure_place(name)
            click.echo(told["remark"] or "Measured.", err=True)
        _kept(bench.desk.finish_turn_over(), json_file)


@command.command("level")
@SOURCE
@DEVICE
@click.option("--channel", type=int, default=1, show_default=True, metavar="N", help="Number from 1.")
@click.option(
    "--level-db", type=float, default=94.0, show_default=True, metavar="DB", help="Of the calibrator."
)
@_json("shopmon.calibration/1")
@click.pass_obj
def level(place, source, device, channel, level_db, json_file):
    """Calibrate a microphone by a calibrator's tone.

    Example: shopmon sensors level --device USB --level-db 94
    """
    with _bench(place, source, device, json_file) as bench:
        _ask(f"Seat the calibrator on the microphone and switch it on; keep the shop quiet. {AGAIN}")
        _kept(bench.desk.calibrate_level(channel, level_db), json_file)


@command.command("enter")
@SOURCE
@DEVICE
@click.option("--channel", type=int, default=1, show_default=True, metavar="N", help="Number from 1.")
@click.option("--g", "full_scale_g", type=float, metavar="G", help="Full scale of an accelerometer, in g.")
@click.option("--pa", "full_scale_pa", type=float, metavar="PA", help="Full scale of a microphone, in Pa.")
@click.option("--db", "sensitivity_db", type=float, metavar="DB",
              help="Level of 94 dB in dB re full scale, from the sheet of a digital microphone.")  # fmt: skip
@_json("shopmon.calibration/1")
@click.pass_obj
def enter(place, source, device, channel, full_scale_g, full_scale_pa, sensitivity_db, json_file):
    """Enter what full scale means, from the sensor's sheet.

    Example: shopmon sensors enter --source spindle-mic --db -26
    """
    given = {"g": full_scale_g, "Pa": full_scale_pa, "dB": sensitivity_db}
    given = {what: value for what, value in given.items() if value is not None}
    if len(given) != 1:
        raise SettingError("One figure is needed, and only one.", "Give --g, --pa or --db.")
    ((what, value),) = given.items()
    with _bench(place, source, device, json_file) as bench:
        _kept(bench.desk.enter(channel, value, what), json_file)


@contextmanager
def _bench(place, source, device, json_file):
    """Open the sensor; what is odd about it is said first."""
    from shopmon.service.sensors.bench import sensor_bench

    data_dir, settings = place_of(*place)
    with sensor_bench(source, device, data_dir, settings) as bench:
        for remark in bench.remarks:
            click.echo(f"{remark.text} {remark.hint}", err=True)
        yield bench


def _ask(words: str) -> None:
    click.prompt(words, default="", show_default=False, prompt_suffix=" ", err=True)


def _tell(bench, json_file: str | None) -> None:
    from shopmon.service.sensors.words import sensor_lines

    told = bench.desk.as_data()
    if json_file is not None:
        write_json(told, json_file)
    if json_file != "-":
        click.echo("\n".join(sensor_lines(told)))


def _kept(calibration: dict, json_file: str | None) -> None:
    from shopmon.service.sensors.words import calibration_lines

    if json_file is not None:
        write_json(calibration, json_file)
    if json_file != "-":
        click.echo("\n".join(calibration_lines(calibration)))
