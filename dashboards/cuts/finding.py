"""What the list of cuts is asked for: the fields of its form as the filters of the interface."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from shopmon.dashboards.api.cuts import LATEST_S, asked_filters

DAYS = {"since": 0, "until": 1}  # the day that is named counts, whole
FIELDS = ("since", "until", "verdict", "words", "rpm_from", "rpm_to", "keep")


@dataclass(frozen=True)
class Asked:
    """What is looked for.

    Attributes
    ----------
    fields
        As typed, without the empty ones: what the form shows again, and what leads to the next page.
    filters
        Of `Monitor.cuts`.
    """

    fields: dict[str, str]
    filters: dict[str, Any]


def asked(args: Any) -> Asked:
    """Read the form.

    Raises
    ------
    Refusal
        A field cannot be.
    ValueError
        A date cannot be.
    """
    fields = {name: args[name].strip()[:200] for name in FIELDS if args.get(name, "").strip()}
    plain = {name: _plain(name, value) for name, value in fields.items()}
    return Asked(fields, asked_filters(plain))


def _plain(name: str, value: str) -> str:
    if name in DAYS:
        return str(_day_s(value, DAYS[name]))
    # shop-floor keyboards have a comma where others have a point
    return value.replace(",", ".") if name.startswith("rpm") else value


def _day_s(text: str, days_later: int) -> float:
    day = datetime.strptime(text, "%Y-%m-%d")
    try:
        day_s = (day + timedelta(days=days_later)).astimezone().timestamp()
    except OverflowError:  # the end of the calendar
        day_s = LATEST_S
    return min(max(day_s, 0.0), LATEST_S)
