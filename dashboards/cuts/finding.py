"""What the list of cuts is asked for: the fields of its form as the filters of the interface."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from shopmon.dashboards.api.cuts import asked_filters

FIELDS = ("since", "until", "verdict", "words", "rpm_from", "rpm_to", "keep")


@dataclass(frozen=True)
class Asked:
    """What is looked for.

    Attributes
    ----------
    fields
        As typed, without the empty ones: what the form shows again, and what leads to the next page.
    times
        From and until in seconds since 1970, None where open.
    filters
        Of `Monitor.cuts`.
    """

    fields: dict[str, str]
    times: tuple[float | None, float | None]
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
    plain = {name: _plain(name, value) for name, value in fields.items() if name not in ("since", "until")}
    until_s = _day_s(fields.get("until"), 1)
    return Asked(fields, (_day_s(fields.get("since"), 0), until_s), asked_filters(plain))


def _plain(name: str, value: str) -> str:
    # shop-floor keyboards have a comma where others have a point
    return value.replace(",", ".") if name.startswith("rpm") else value


def _day_s(text: str | None, days_later: int) -> float | None:
    if text is None:
        return None
    return (datetime.strptime(text, "%Y-%m-%d") + timedelta(days=days_later)).astimezone().timestamp()
