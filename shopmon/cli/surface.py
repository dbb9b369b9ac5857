"""``shopmon surface``: the marks on a wall, from a photograph or a measured spacing."""

from pathlib import Path

import click

from shopmon.cli.json_output import write_json
from shopmon.errors import SettingError


@click.command("surface")
@click.argument("image", type=click.Path(path_type=Path), required=False)
@click.option("--scale", type=float, metavar="UM_PER_PIXEL", help="Scale of the picture, µm per pixel.")
@click.option(
    "--scale-uncertainty",
    type=float,
    default=1.0,
    show_default=True,
    metavar="PERCENT",
    help="Of the scale.",
)
@click.option("--region", metavar="LEFT,TOP,WIDTH,HEIGHT", help="Part of the picture to look at, in pixels.")
@click.option(
    "--feed-direction",
    type=float,
    metavar="DEG",
    help="Of the feed in the picture, counter-clockwise from the right; without it the tooth marks tell it.",
)
@click.option(
    "--spacing", type=float, metavar="MM", help="A spacing measured by hand along the feed, no picture."
)
@click.option("--spacing-uncertainty", type=float, metavar="MM", help="Of --spacing; 2 % if not given.")
@click.option("--rpm", type=float, metavar="N", help="Spindle speed of the cut.")
@click.option("--flutes", type=int, metavar="N", help="Flutes of the tool.")
@click.option("--feed", type=float, metavar="MM_PER_MIN", help="Table feed of the cut.")
@click.option(
    "--chatter-hz", type=float, multiple=True, metavar="HZ", help="A tone that was heard; repeatable."
)
@click.option("--diameter", type=float, metavar="MM", help="Of the tool; with --helix, slants are told.")
@click.option("--helix", type=float, metavar="DEG", help="Helix angle of the tool.")
@click.option("--units", type=click.Choice(["metric", "inch"]), default="metric", help="Of the report.")
@click.option("--json", "json_file", metavar="-|FILE", help="Write JSON to standard output (-) or to a file.")
def command(image, scale, region, spacing, units, json_file, **told):
    """Measure the marks in a picture of a milled wall and say what made them.

    IMAGE is a photograph (JPEG, PNG, WebP, TIFF, BMP) through a microscope or from a phone, square to the
    wall.
    Speed, flutes and table feed of the cut tell tooth marks, runout and chatter apart.

    Example: shopmon surface wall.jpg --scale 4.6 --rpm 12000 --flutes 3 --feed 1800 --chatter-hz 1432.6
    """
    from shopmon.service.walls.check import check_picture, check_spacing, expect

    if image is None and region:
        raise SettingError("A region was given without a picture.", "Name the picture.")
    if image is not None and spacing is not None:
        raise SettingError("Both a picture and a spacing were given.", "Ask about one of them.")
    question = _question(told, scale if image else None, units)
    if image is not None:
        if scale is None:
            raise SettingError("The scale of the picture was not given.", "Give --scale in µm per pixel.")
        from shopmon.capture.picture_file import read_picture

        result = check_picture(read_picture(image, region_px=_region(region)), question)
    elif spacing is not None:
        spread = told["spacing_uncertainty"]
        result = check_spacing(spacing, 0.02 * spacing if spread is None else spread, question)
    elif question.cut is not None:
        result = expect(question)
    else:
        raise SettingError("There is no picture and no spacing.", "Name a picture, or give --spacing.")
    if json_file is not None:
        write_json(result, json_file)
        return
    from shopmon.cli.surface_text import as_text

    click.echo(as_text(result, image.name if image else ""))


def _question(told: dict, scale: float | None, units: str):
    from shopmon.cutting.surface.marks import wall_cut
    from shopmon.service.walls.check import SurfaceQuestion, heard_tones

    known = {
        "rpm": told["rpm"],
        "flutes": told["flutes"],
        "feed_mm_min": told["feed"],
        "diameter_mm": told["diameter"],
        "helix_deg": told["helix"],
    }
    return SurfaceQuestion(
        um_per_pixel=scale,
        scale_share=told["scale_uncertainty"] / 100,
        feed_direction_deg=told["feed_direction"],
        cut=wall_cut(known),
        heard=heard_tones(list(told["chatter_hz"])),
        units=units,
    )


def _region(text: str | None) -> tuple[int, int, int, int] | None:
    if text is None:
        return None
    try:
        left, top, width, height = (int(part) for part in text.split(","))
    except ValueError:
        raise SettingError(
            f"--region {text[:40]!r} is no part of a picture.", "Write LEFT,TOP,WIDTH,HEIGHT in pixels."
        ) from None
    return left, top, width, height
