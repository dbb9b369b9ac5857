"""One chatter event, open or long past, with what is known of its cut."""

from collections.abc import Callable
from typing import Any

from shopmon.listening.engagement.stretches import stretches
from shopmon.records.archive import Archive

STEADY = 0.003  # share by which an open line or its speed may wander before it is asked about anew


class ChatterEvents:
    """Finds chatter events by their id.

    Parameters
    ----------
    archive
        Holds those that were.
    live
        Tells the state now: the one that rings.
    context
        Tells what is cut now.
    """

    def __init__(self, archive: Archive, live: Callable[[], dict], context: Callable[[], dict]):
        self._archive, self._live, self._context = archive, live, context
        self._held: dict[tuple[str, str], float] = {}

    def find(self, event_id: str) -> dict[str, Any] | None:
        """Return one event: what rang, how fast the spindle turned, and the context of its cut.

        Parameters
        ----------
        event_id
            As in the log, and in the state while it rings.

        Returns
        -------
        dict or None
            ``id``, ``open``, ``cut_id``, ``frequency_hz``, ``rpm``, ``severity``, ``t`` and ``context``; None
            when there is no such event.
        """
        live = self._live()
        ringing = live.get("chatter") or {}
        if ringing.get("event_id") == event_id:
            return self._open(live, ringing)
        row = self._archive.event(event_id)
        return None if row is None or row["kind"] != "chatter-started" else self._past(row)

    def _open(self, live: dict, ringing: dict) -> dict[str, Any]:
        """The one that rings now: its row may not be on the disk yet."""
        return {
            "id": ringing["event_id"], "open": True, "cut_id": live["cut_id"], "t": None,
            "context": self._context(), "severity": ringing["severity"],
            "frequency_hz": self._steady("hz", ringing["event_id"], ringing["frequency_hz"]),
            "rpm": self._steady("rpm", ringing["event_id"], live["rpm"]),
        }  # fmt: skip

    def _past(self, row: dict) -> dict[str, Any]:
        data, cut_id = row["data"] or {}, row["cut_id"]
        cut = self._archive.cut(cut_id) if cut_id else None
        context = cut["context"] if cut else {}
        same = [
            span
            for span in (cut["chatter"] if cut else ())
            if span.get("alarm_sample") == data.get("alarm_sample")
        ]
        last = same[0] if same else data
        return {
            "id": row["id"], "open": False, "cut_id": cut_id, "t": row.get("t"), "context": context,
            "frequency_hz": last["frequency_hz"], "severity": last["severity"],
            "rpm": data.get("rpm") or _rpm_of(cut, data) or context.get("nominal_rpm"),
        }  # fmt: skip

    def _steady(self, name: str, event_id: str, value: float | None) -> float | None:
        """What was last told of an open event, unless it has gone on from there."""
        held = self._held.get((name, event_id))
        if value is None or (held is not None and abs(value / held - 1) <= STEADY):
            return held
        self._held = {**{key: old for key, old in self._held.items() if key[1] == event_id}}
        self._held[name, event_id] = value
        return value


def _rpm_of(cut: dict | None, data: dict) -> float | None:
    """True speed at a chatter event, from the cut's analysis."""
    if not cut or not cut.get("analysis"):
        return None
    rate, first = cut["sample_rate_hz"], cut["first_sample"]
    at_s = (data.get("alarm_sample", first) - first) / rate
    parts = stretches(cut["analysis"])
    within = [part.rpm for part in parts if part.start_s <= at_s <= part.end_s]
    return (within or [part.rpm for part in parts] or [None])[0]
