"""``shopmon import``: takes an archive into a data folder."""

from pathlib import Path

import click

from shopmon.cli.data_options import counted, data_options, megabytes, place_of, progress_bar
from shopmon.errors import StoreError

SHOWN_TABLES = {
    "cuts": "cut",
    "tools": "tool",
    "judgements": "judgement",
    "corrections": "correction",
    "wear_readings": "wear reading",
}


@click.command("import")
@click.argument("source", type=click.Path(path_type=Path), metavar="FILE.zip|FOLDER")
@data_options
def command(source, data_dir, settings_file):
    """Take in what 'shopmon export' or 'shopmon backup' wrote: into a new folder, or beside what is there.

    All of it or nothing: a damaged archive changes nothing. What is there stays as it is; the same archive
    may be taken in twice. The monitor must not be running on that folder.

    Example: shopmon import shop.zip --data ./office
    """
    from shopmon.records.carrying.containers import opened_archive
    from shopmon.records.carrying.unpacking import unpack

    folder, settings = place_of(data_dir, settings_file)
    with opened_archive(source) as archive:
        total = archive.manifest.total_bytes
    try:
        with progress_bar(total, "Unpacking and checking") as progress:
            taken = unpack(source, folder, progress)
    except StoreError as exc:
        if "Another monitor" in exc.text:
            hint = "Stop it first, or give another folder with --data DIR."
            raise StoreError(f"A monitor runs on {folder}.", hint) from None
        raise
    report(taken, folder, settings.storage.budget_bytes)


def report(taken, folder: Path, budget_bytes: int) -> None:
    """Say what was taken in, what was there already, and what is otherwise here than there."""
    added, known = taken.merged.added, taken.merged.known
    new = [counted(added[table], word) for table, word in SHOWN_TABLES.items() if added[table]]
    files = f"{counted(taken.files, 'file')}, {megabytes(taken.bytes)}"
    click.echo(f"{folder}: {', '.join(new) or 'nothing new'}; {files}.")
    if known["cuts"]:
        click.echo(f"There already, and left as they were: {counted(known['cuts'], 'cut')}.")
    if taken.merged.sound_for:
        click.echo(f"Their sound came along now: {counted(len(taken.merged.sound_for), 'recording')}.")
    if taken.missing:
        click.echo(f"Without sound, because it did not lie beside the archive: {len(taken.missing)}.")
    for sentence in taken.merged.conflicts:
        click.echo(f"Here otherwise than in the archive; what is here stays: {sentence}")
    for name in taken.strange:
        click.echo(f"Here with other content; what is here stays: {name}")
    if taken.bytes > budget_bytes:
        click.echo(
            f"The sound is more than the {megabytes(budget_bytes)} that the settings give it:"
            " the monitor will remove the oldest unless you raise budget_gb."
        )
