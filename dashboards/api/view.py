"""Collects the routes of the interface on its blueprint."""

from shopmon.dashboards.api import (
    background,
    carefulness,
    clock,
    context,
    cuts,
    explain,
    health,
    marks,
    mills,
    programs,
    review,
    sensors,
    speeds,
    state,
    stream,
    taps,
    trials,
)
from shopmon.dashboards.api.blueprint import blueprint

__all__ = [
    "background",
    "blueprint",
    "carefulness",
    "clock",
    "context",
    "cuts",
    "explain",
    "health",
    "marks",
    "mills",
    "programs",
    "review",
    "sensors",
    "speeds",
    "state",
    "stream",
    "taps",
    "trials",
]
