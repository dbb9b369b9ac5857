"""``shopmon program``: what an NC program does with each tool, and how long."""

import sys
from pathlib import Path

import click

from shopmon.cli.json_output import write_json

TOLD_FROM_BYTES = 4 * 2**20


def teller(path: Path):
    """Return what shows how far the reading is, for a large file and a person who looks; else None."""
    if not (sys.stderr.isatty() and path.is_file() and path.stat().st_size > TOLD_FROM_BYTES):
        return None
    return lambda lines: click.echo(f"\r{lines:,} lines", nl=False, err=True)


@click.command("program")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--acceleration", type=float, metavar="MM_PER_S2", help="Of the machine, for the times.")
@click.option(
    "--rapid", type=float, metavar="MM_PER_MIN", help="Rate of rapids; 5000 is assumed if not given."
)
@click.option(
    "--units", type=click.Choice(["mm", "inch"]), help="For a program that says neither G20 nor G21."
)
@click.option("--json", "json_file", metavar="-|FILE", help="Write JSON to standard output (-) or to a file.")
def command(file, acceleration, rapid, units, json_file):
    """Tell what an NC program (ISO 6983, RS-274) does: tools, spindle speeds, lines and times.

    Times are length over feed, as if the machine were at full feed at once; with --acceleration it speeds
    up and slows down, at corners too. Tool changes and stops count nothing.

    Example: shopmon program hub.nc

    Example: shopmon program hub.nc --acceleration 800 --rapid 6000 --json -
    """
    from shopmon.cli.program_text import as_text
    from shopmon.cutting.program.reading import program_as_data
    from shopmon.cutting.program.timing import MachineMotion
    from shopmon.service.programs.file import read_program_file

    machine = MachineMotion(acceleration_mm_per_s2=acceleration, rapid_mm_per_min=rapid)
    tell = teller(file)
    try:
        found = read_program_file(file, machine, None if units is None else units == "inch", tell)
    finally:
        if tell:
            click.echo("\r", nl=False, err=True)
    if json_file is None:
        click.echo(as_text(program_as_data(found)))
    else:
        write_json(program_as_data(found), json_file)
