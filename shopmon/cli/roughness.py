"""``shopmon mills roughness``: roughness of a measured profile."""

from pathlib import Path

import click

from shopmon.cli.json_output import write_json


@click.command("roughness")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--spacing-mm", type=float, metavar="MM", help="Between points, where the file does not say.")
@click.option("--unit", default="µm", show_default=True, help="Of the heights in a table: nm, µm, mm or m.")
@click.option("--column", metavar="NAME", help="Column of a table, or row of a surface, by number from 1.")
@click.option(
    "--standard",
    type=click.Choice(["ISO 21920", "ISO 4287"]),
    default="ISO 21920",
    show_default=True,
    help="By which the cut-off and the parameters are taken; they differ.",
)
@click.option("--cutoff-mm", type=float, metavar="MM", help="Instead of that of the standard's table.")
@click.option("--bent", is_flag=True, help="Take out a curve instead of a straight line.")
@click.option("--theory-um", type=float, metavar="UM", help="Height of the marks that geometry leaves.")
@click.option("--json", "json_file", metavar="-|FILE", help="Write JSON (shopmon.roughness/1).")
def roughness_command(file, json_file, **how):
    """Ra, Rq, Rz, Rt and RSm of a measured profile: a table of numbers, SDF or X3P (ISO 25178).

    Example: shopmon mills roughness wall.csv --standard "ISO 4287"
    """
    from shopmon.service.mills.finish import in_words, profile_finish

    report = profile_finish(file, **how)
    if json_file is not None:
        write_json(report, json_file)
    if json_file != "-":
        for line in in_words(report):
            click.echo(line)
