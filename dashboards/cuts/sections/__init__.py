"""The sections at the foot of the page of a cut, each in a file of its own.

A section is a template in this folder; they stand on the page in the order of their file names. A module of
the same name may lend it what it shows: its function ``facts(monitor, cut)`` returns a dict, which the
template finds as ``facts``. A section brings its own script and style sheet along.
"""

import importlib
from functools import lru_cache
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent


@lru_cache(maxsize=1)
def names() -> tuple[str, ...]:
    """Return the names of the sections, in the order in which they stand on the page."""
    return tuple(sorted(template.stem for template in FOLDER.glob("*.html")))


def sections(monitor: Any, cut: dict[str, Any]) -> list[dict[str, Any]]:
    """Return ``template`` and ``facts`` of every section of one cut's page."""
    return [
        {"template": f"cuts/sections/{name}.html", "facts": _facts(name, monitor, cut)} for name in names()
    ]


def _facts(name: str, monitor: Any, cut: dict[str, Any]) -> dict[str, Any]:
    if not (FOLDER / f"{name}.py").exists():
        return {}
    return importlib.import_module(f"{__name__}.{name}").facts(monitor, cut)
