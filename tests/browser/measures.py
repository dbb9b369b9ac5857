"""Measurements inside a page, written in the page's own language."""

from pathlib import Path

SCRIPT = Path(__file__).with_suffix(".js").read_text(encoding="utf-8").strip()


def measure(page, name: str, argument=None):
    """Run one of the functions of measures.js in the page and return what it returns."""
    return page.evaluate(f"(argument) => {SCRIPT}.{name}(argument)", argument)
