"""``shopmon report``: one cut, or all cuts of a part, on a page to print or to send."""

from pathlib import Path

import click

from shopmon.cli.data_options import data_options, megabytes, place_of
from shopmon.errors import SettingError, StoreError


@click.command("report")
@click.argument("cut_id", required=False, metavar="[CUT_ID]")
@data_options
@click.option("--part", metavar="NAME", help="All cuts of this part instead of one cut.")
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="Where to write it.")
@click.option("--pdf", is_flag=True, help="A PDF instead of a web page; needs Chromium on this computer.")
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), help="Paper; letter where the unit is the inch."
)
@click.option("--with-audio", is_flag=True, help="The sound, too (web page only); it may hold voices.")
def command(cut_id, data_dir, settings_file, part, output, pdf, paper, with_audio):
    """Write a report on a cut: figures, facts, advice given and taken, notes, photographs, in one file.

    CUT_ID is at the end of the address of the cut's page; its first eight letters are enough. It works while
    the monitor runs.

    Example: shopmon report 3f0c9a1e -o cut.html
    """
    from shopmon.records.looking import looking_at

    if (cut_id is None) == (part is None):
        raise SettingError("Give the id of a cut, or --part NAME.", "shopmon report --help shows both.")
    if pdf and with_audio:
        raise SettingError("A PDF holds no sound.", "Leave --pdf or --with-audio out.")
    folder, settings = place_of(data_dir, settings_file)
    units = settings.screen.units
    paper = paper or ("letter" if units == "inch" else "a4")
    with looking_at(folder) as log:
        look = {"machine": settings.machine.name or "", "units": units, "paper": paper}
        html = part_report(log, part, look) if part else cut_report(log, cut_id, with_audio, look)
    target = output or Path(f"{'part' if part else 'cut'}-report.{'pdf' if pdf else 'html'}")
    content = html.encode()
    if pdf:
        from shopmon.service.reporting.pdf import as_pdf

        content = as_pdf(html)
    write(target, content)
    click.echo(f"{target}: {megabytes(len(content))}.")


def cut_report(log, cut_id: str, with_audio: bool, look: dict) -> str:
    """Return the page on one cut, named by the beginning of its id.

    Raises
    ------
    SettingError
        No cut or more than one begins so.
    """
    from shopmon.dashboards.report.page import cut_page
    from shopmon.service.reporting.sheets import cut_sheet

    return cut_page(cut_sheet(log, log.whole_cut_id(cut_id), with_sound=with_audio), **look)


def part_report(log, part: str, look: dict) -> str:
    """Return the page on a part."""
    from shopmon.dashboards.report.page import part_page
    from shopmon.service.reporting.sheets import part_sheet

    return part_page(part_sheet(log, part), **look)


def write(target: Path, content: bytes) -> None:
    """Write a file whole; raises StoreError where that cannot be done."""
    from shopmon.records.folder import whole_file

    try:
        with whole_file(target) as fresh:
            fresh.write_bytes(content)
    except OSError as exc:
        raise StoreError(
            f"{target} cannot be written ({exc.strerror}).", "Give another file with -o."
        ) from None
