"""Which data folder a command works on, and how it shows long work."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click

MB = 1e6


def data_options(function: Callable) -> Callable:
    """Add ``--data`` and ``--settings``."""
    path = click.Path(path_type=Path)
    for option in (
        click.option("--settings", "settings_file", type=path, metavar="FILE", help="Settings file (TOML)."),
        click.option("--data", "data_dir", type=path, metavar="DIR", help="Folder of the log."),
    ):
        function = option(function)
    return function


def place_of(data_dir: Path | None, settings_file: Path | None):
    """Return the data folder that is meant, and the settings."""
    from shopmon.service.settings import default_data_dir, load_settings

    settings = load_settings(settings_file)
    usual = Path(settings.storage.data_dir or default_data_dir()).expanduser()
    return data_dir or usual, settings


@contextmanager
def progress_bar(total_bytes: int, label: str) -> Iterator[Callable[[int], None]]:
    """Show on standard error how far a work on so many bytes is; nothing where nobody watches."""
    stream = sys.stderr
    if not stream.isatty():
        yield lambda _: None
        return
    with click.progressbar(length=max(1, total_bytes), label=label, file=stream) as bar:
        yield bar.update


def megabytes(count: int) -> str:
    """Write a number of bytes.

    Examples
    --------
    >>> megabytes(1_234_000), megabytes(25_300_000_000), megabytes(900), megabytes(0)
    ('1.2 MB', '25.3 GB', '0.1 MB', '0.0 MB')
    """
    if count >= 1e9:
        return f"{count / 1e9:.1f} GB"
    return f"{max(count / MB, 0.1 if count else 0.0):.1f} MB"


def counted(count: int, one: str, many: str = "") -> str:
    """Write a number with its noun.

    Examples
    --------
    >>> counted(1, "cut"), counted(3, "cut"), counted(2, "copy", "copies")
    ('1 cut', '3 cuts', '2 copies')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"
