"""What the section on reports and data needs beside the cut."""

from typing import Any


def facts(monitor: Any, cut: dict[str, Any]) -> dict[str, Any]:
    """Return the shop's units: they choose the paper."""
    return {"units": monitor.state()["units"]}
