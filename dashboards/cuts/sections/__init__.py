"""The sections at the foot of the page of a cut, each in a file of its own.

A section is a template in this folder. They stand on the page in the order in which one who has a bad part
in the hand asks: what is the mark, what was the good part like, what do I say of it, what do I take along;
any others follow by their file names. A module of the same name may lend it what it shows: its function
``facts(monitor, cut)`` returns a dict, which the template finds as ``facts``. A section brings its own script
and style sheet along.
"""

import importlib
from functools import lru_cache
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent
FIRST = ("wall", "pair", "said", "take")


@lru_cache(maxsize=1)
def names() -> tuple[str, ...]:
    """Return the names of the sections, in the order in which they stand on the page."""
    found = sorted(template.stem for template in FOLDER.glob("*.html"))
    return tuple(sorted(found, key=lambda name: FIRST.index(name) if name in FIRST else len(FIRST)))


def sections(monitor: Any, cut: dict[str, Any]) -> list[dict[str, Any]]:
    """Return ``template`` and ``facts`` of every section of one cut's page."""
    return [
        {"template": f"cuts/sections/{name}.html", "facts": _facts(name, monitor, cut)} for name in names()
    ]


def _facts(name: str, monitor: Any, cut: dict[str, Any]) -> dict[str, Any]:
    if not (FOLDER / f"{name}.py").exists():
        return {}
    return importlib.import_module(f"{__name__}.{name}").facts(monitor, cut)
