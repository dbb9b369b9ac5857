"""``shopmon devices``: the sound inputs, how loud it is at each of them, and the serial ports of boards."""

import math
from dataclasses import asdict

import click

from shopmon.capture.inputs import NONE_FOUND, NONE_HINT, InputDevice
from shopmon.cli.json_output import write_json
from shopmon.errors import DeviceError

SCHEMA = "shopmon.devices/1"
REFERENCE = "dB re full scale (uncalibrated)"


def _number(context, option, value):
    if math.isnan(value):  # a range lets it pass
        raise click.BadParameter("is not a number.", context, option)
    return value


@click.command("devices")
@click.option("--json", "json_file", metavar="-|FILE", help="Write the inputs as JSON (shopmon.devices/1).")
@click.option("--no-level", is_flag=True, help="Only list; do not listen.")
@click.option(
    "--seconds",
    type=click.FloatRange(0.05, 10),
    callback=_number,
    default=0.5,
    show_default=True,
    metavar="S",
    help="How long to listen at each input.",
)
def command(json_file, no_level, seconds):
    """List the sound inputs of this computer, each with its level, and the USB serial ports.

    A sampler board is on such a port; so may be a machine's controller, and therefore none is opened here.

    An input that a running monitor is listening to cannot be measured; that monitor's page shows its level.
    The exit status is 1 when there is neither an input nor a port.

    Example: shopmon devices --seconds 2
    """
    from shopmon.capture.iio.device import list_accelerometers
    from shopmon.capture.sampler.ports import list_ports

    boards, driven = list_ports(), [device.name for device in list_accelerometers()]
    devices = _inputs(needed=not (boards or driven))
    entries, telling = [], json_file != "-"
    if telling and devices:
        click.echo(_HEADING)
    for device in devices:
        entries.append(_entry(device, None if no_level else seconds))
        if telling:
            click.echo(_line(entries[-1]))
    ports = {"serial_ports": [asdict(board) for board in boards], "accelerometers": driven}
    if json_file is not None:
        write_json({"schema": SCHEMA, "level_reference": REFERENCE, "inputs": entries, **ports}, json_file)
    if not (devices or boards or driven):
        raise DeviceError(NONE_FOUND, NONE_HINT)
    if telling and devices:
        click.echo(_footing(devices, None if no_level else seconds))
    if telling and boards:
        click.echo(_ports_text(boards))
    if telling and driven:
        click.echo(f'\nAccelerometers driven by Linux (kind = "iio" in the settings): {", ".join(driven)}')


def _inputs(needed: bool) -> list[InputDevice]:
    """List the sound inputs; where there are boards, a computer without a sound system is no error."""
    from shopmon.capture.devices import list_inputs

    try:
        return list_inputs()
    except DeviceError:
        if needed:
            raise
        return []


def _ports_text(boards: list) -> str:
    lines = ["", "USB serial ports (not opened: a machine's controller may be on one):"]
    for board in boards:
        number = f", serial number {board.serial_number}" if board.serial_number else ""
        lines.append(f"  {board.path}  {board.name}{number}")
    return "\n".join([*lines, 'A sampler board is named in the settings: kind = "board", device = "…".'])


_COLUMNS = "{:>3}  {:<44}  {:>8}  {:>9}  {}"
_HEADING = _COLUMNS.format("no.", "input", "channels", "rate", "peak / r.m.s. level")


def _entry(device: InputDevice, seconds: float | None) -> dict:
    """Describe one input, its level included where it was asked for and can be had."""
    from shopmon.capture.devices import measure_level

    level, problem = None, None
    if seconds is not None:
        try:
            level = asdict(measure_level(device.index, seconds))
        except DeviceError as exc:
            problem = str(exc)
    return {**asdict(device), "level": level, "problem": problem}


def _line(entry: dict) -> str:
    star = "*" if entry["is_default"] else ""
    rate = f"{entry['default_sample_rate_hz']:.0f} Hz"
    name = f"{entry['name']} ({entry['host_api']}){star}"
    return _COLUMNS.format(entry["index"], name, entry["channels"], rate, _level_words(entry)).rstrip()


def _level_words(entry: dict) -> str:
    level = entry["level"]
    if level is None:
        return entry["problem"] or ""
    if level["peak_db"] is None:
        return "silent: every sample is 0"
    clipped = ", at full scale: turn it down" if level["clipped"] else ""
    return f"{level['peak_db']:.1f} / {level['rms_db']:.1f} dB{clipped}"


def _footing(devices: list[InputDevice], seconds: float | None) -> str:
    example = next((device for device in devices if device.is_default), devices[0]).lasting_name
    lines = [
        "* is taken when none is chosen. Choose one by its name or a part of it:",
        f'shopmon listen --device "{example}"',
    ]
    if seconds is not None:
        lines.insert(0, f"Levels over {seconds:g} s, in {REFERENCE}.")
    return "\n".join(["", *lines])
