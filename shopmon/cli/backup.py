"""``shopmon backup``: a safe copy, also while the monitor runs."""

from pathlib import Path

import click

from shopmon.cli.data_options import counted, data_options, megabytes, place_of, progress_bar
from shopmon.errors import SettingError

KEPT = 14


@click.command("backup")
@click.argument("target", type=click.Path(path_type=Path), metavar="FOLDER|FILE.zip|FILE.db")
@data_options
@click.option("--with-audio", is_flag=True, help="The sound, too: each recording is copied once.")
@click.option(
    "--keep",
    type=click.IntRange(0),
    default=KEPT,
    show_default=True,
    metavar="N",
    help="So many dated copies stay in a folder; 0 for all.",
)
def command(target, data_dir, settings_file, with_audio, keep):
    """Make a safe copy while the monitor runs, and read it back.

    A folder gets a dated archive; the oldest beyond --keep are removed. FILE.zip is one archive, FILE.db the
    database alone. 'shopmon import' takes an archive in again.

    Example: shopmon backup /media/stick/shopmon
    """
    from shopmon.records.carrying.backing_up import back_up_database, back_up_into
    from shopmon.records.carrying.packing import measure, pack

    folder, _ = place_of(data_dir, settings_file)
    kind = target.suffix.lower()
    if kind == ".db":
        if with_audio:
            raise SettingError("A copy of the database holds no sound.", "Give a folder or a .zip.")
        done = back_up_database(folder, target)
        cuts = counted(done.rows.get("cuts", 0), "cut")
        click.echo(f"{target}: {cuts}, {megabytes(done.bytes)}. The copy was checked and is whole.")
        return
    size = measure(folder)
    total = 2 * size.other_bytes + (4 * size.sound_bytes if with_audio else 0)
    with progress_bar(total, "Writing and reading back") as progress:
        if kind == ".zip":
            packed = pack(folder, target, with_audio=with_audio, progress=progress)
            new = known = 0
            removed = ()
        else:
            done = back_up_into(folder, target, with_audio=with_audio, keep=keep, progress=progress)
            packed, new, known, removed = done.packed, done.sound_new, done.sound_known, done.removed
    cuts = counted(packed.manifest.rows.get("cuts", 0), "cut")
    click.echo(f"{packed.path}: {cuts}, {megabytes(packed.bytes)}. The copy was read back and is whole.")
    if new or known:
        click.echo(f"Files of sound beside it: {new} copied, {known} there already.")
    if not with_audio and size.recordings:
        click.echo(
            f"Without the sound of {counted(size.recordings, 'recording')}: add --with-audio to copy it."
        )
    if removed:
        click.echo(f"Removed as older than the {keep} that stay: {counted(len(removed), 'copy', 'copies')}.")
