"""``shopmon mills roughness``: roughness of a measured profile."""

from dataclasses import asdict
from pathlib import Path

import click

from shopmon.cli.json_output import write_json

SCHEMA = "shopmon.roughness/1"


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
@click.option("--json", "json_file", metavar="-|FILE", help=f"Write JSON ({SCHEMA}).")
def roughness_command(file, spacing_mm, unit, column, standard, cutoff_mm, bent, theory_um, json_file):
    """Ra, Rq, Rz, Rt and RSm of a measured profile: a table of numbers, or X3P (ISO 25178-72).

    Example: shopmon mills roughness wall.csv --standard "ISO 4287"
    """
    from shopmon.capture.profile_file import read_profile
    from shopmon.cutting.surface.roughness import roughness
    from shopmon.cutting.surface.theory import against_theory

    profile = read_profile(file, spacing_mm=spacing_mm, unit=unit, column=column)
    found = roughness(profile, standard, cutoff_mm=cutoff_mm, form_degree=2 if bent else 1)
    theory = None if theory_um is None else against_theory(found.Rz_um, theory_um)
    if json_file is not None:
        known = {"schema": SCHEMA, **asdict(found), "notes": list(found.notes)}
        write_json(known | ({"times_theory": theory.times} if theory else {}), json_file)
    if json_file == "-":
        return
    width = "" if found.RSm_mm is None else f"  RSm {found.RSm_mm:.3g} mm"
    click.echo(
        f"Ra {found.Ra_um:.3g}  Rq {found.Rq_um:.3g}  Rz {found.Rz_um:.3g}  Rt {found.Rt_um:.3g} µm{width}"
    )
    short = f", λs {found.shortest_um:g} µm" if found.shortest_um else ""
    click.echo(
        f"By {found.standard}: cut-off {found.cutoff_mm:g} mm{short}, over {found.evaluation_mm:.3g} mm."
    )
    for line in (*found.notes, *([f"Rz is {theory.height}"] if theory else [])):
        click.echo(line)
