"""Options that several commands have, worded once: machine, tool and cut."""

import click

flutes = click.option("--flutes", type=int, metavar="N", help="Number of flutes of the cutting tool.")
min_rpm = click.option("--min-rpm", type=float, metavar="N", help="Lowest speed of the machine.")
max_rpm = click.option("--max-rpm", type=float, metavar="N", help="Highest speed of the machine.")
milling = click.option(
    "--milling", type=click.Choice(["climb", "conventional", "slot"]), help="How it is milled."
)
diameter = click.option("--diameter", type=float, metavar="MM", help="Cutting diameter.")
ae = click.option("--ae", type=float, metavar="MM", help="Radial depth of the cut.")
