"""``shopmon export``: a whole data folder, or chosen cuts, in one file."""

import sys
from pathlib import Path

import click

from shopmon.cli.data_options import counted, data_options, megabytes, place_of, progress_bar
from shopmon.errors import SettingError, StoreError


@click.command("export")
@click.argument("target", type=click.Path(path_type=Path), metavar="FILE.zip|FOLDER|FILE.csv|FILE.json")
@data_options
@click.option(
    "--with-audio/--without-audio",
    "with_audio",
    default=None,
    help="Take the sound along, or not; asked where it is not said.",
)
@click.option("--cut", "cuts", multiple=True, metavar="ID", help="Only this cut; may be repeated.")
def command(target, data_dir, settings_file, with_audio, cuts):
    """Write everything, or chosen cuts, to an archive that 'shopmon import' takes in elsewhere.

    It works while the monitor runs. The sound may hold voices, so it is taken along only when you say so.
    A name that ends in .csv or .json makes a table of the cuts instead.

    Example: shopmon export shop.zip --without-audio
    """
    from shopmon.records.carrying.packing import measure, pack

    folder, _ = place_of(data_dir, settings_file)
    if target.suffix.lower() in (".csv", ".json"):
        write_table(folder, target, cuts)
        return
    size = measure(folder, cuts)
    if with_audio is None:
        with_audio = ask_about_sound(size)
    total = 2 * (size.other_bytes + (size.sound_bytes if with_audio else 0))
    with progress_bar(total, "Writing and reading back") as progress:
        packed = pack(folder, target, with_audio=with_audio, only_cuts=cuts, progress=progress)
    rows = packed.manifest.rows
    click.echo(
        f"{target}: {counted(rows.get('cuts', 0), 'cut')}, {counted(rows.get('tools', 0), 'tool')},"
        f" {'with' if with_audio else 'without'} sound, {megabytes(packed.bytes)}."
        " It was read back and is whole."
    )
    for sentence in packed.manifest.left_out:
        click.echo(f"Not in it: {sentence}")


def ask_about_sound(size) -> bool:
    """Ask the person; a script must say it.

    Raises
    ------
    SettingError
        Nobody is there to answer.
    """
    if not size.sound_bytes:
        return False
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise SettingError(
            "It was not said whether the sound goes along; it may hold voices.",
            "Add --with-audio or --without-audio.",
        )
    question = (
        f"Take the sound of {counted(size.recordings, 'recording')} along ({megabytes(size.sound_bytes)})?"
        " It may hold voices."
    )
    return click.confirm(question, default=False, err=True)


def write_table(folder: Path, target: Path, cuts) -> None:
    """Write the cuts as a table: CSV, or ``shopmon.cuts/1``."""
    import json

    from shopmon.records.folder import whole_file
    from shopmon.records.looking import looking_at
    from shopmon.service.cuts.data import CUTS_SCHEMA, cut_line, every_cut, lines_as_csv

    with looking_at(folder) as log:
        lines = [cut_line(cut) for cut in every_cut(log, {}) if not cuts or cut["id"].startswith(cuts)]
    if target.suffix.lower() == ".csv":
        text = "".join(lines_as_csv(lines))
    else:
        text = json.dumps({"schema": CUTS_SCHEMA, "cuts": lines}, indent=1, ensure_ascii=False)
    try:
        with whole_file(target) as fresh:
            fresh.write_text(text, encoding="utf-8", newline="")
    except OSError as exc:
        raise StoreError(f"{target} cannot be written ({exc.strerror}).", "Give another file.") from None
    click.echo(f"{target}: {counted(len(lines), 'cut')}.")
