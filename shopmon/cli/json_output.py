"""JSON to standard output or to a file, the same for every command."""

import json
from pathlib import Path

import click

from shopmon.errors import StoreError


def write_json(report: dict, target: str) -> None:
    """Write a report.

    Parameters
    ----------
    report
        Finite numbers only.
    target
        ``"-"`` for standard output, else a file.

    Raises
    ------
    StoreError
        The file cannot be written.
    """
    text = json.dumps(report, indent=1, ensure_ascii=False, allow_nan=False)
    if target == "-":
        click.echo(text)
        return
    try:
        Path(target).write_text(text + "\n", encoding="utf-8")
    except OSError as exc:
        raise StoreError(
            f"{target} cannot be written ({exc.strerror}).", "Give another file with --json."
        ) from None
