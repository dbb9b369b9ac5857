"""An invented two-person shop: its tools, and cuts of chosen length made with them."""

import uuid

import numpy as np

from shopmon.records.archive import Archive
from tests.records.synthetic import stream

RATE_HZ = 1000.0


class Shop:
    """Enters tools and logs cuts without any sound.

    Parameters
    ----------
    archive
        Where to.
    """

    def __init__(self, archive: Archive):
        self.archive, self.register = archive, archive.register
        self.stream = stream(RATE_HZ, stream_id=str(uuid.uuid4()))
        archive.start_stream(self.stream)
        self.type_id = self.register.add(
            "mill_types",
            {"label": "6 mm three-flute", "DC": 6.0, "NOF": 3, "LCF": 18.0, "FHA": 38.0, "coating": "ZrN"},
        )
        self._sample = 0

    def mill(self, label: str) -> str:
        """Enter an end mill of the one type."""
        return self.register.add_tool({"label": label, "kind": "end mill", "type_id": self.type_id})

    def context(self, tool_id: str | None, **values) -> dict:
        """Return the context of a cut with this tool."""
        known = self.register.tool(tool_id).context() if tool_id else {}
        return {name: value for name, value in {**known, **values}.items() if value is not None}

    def cut(
        self,
        tool_id: str | None,
        seconds: float,
        *,
        chatter_s=0.0,
        entries=1,
        wait=True,
        steady=(),
        rpm=None,
        **said,
    ) -> str:
        """Log one cut of that many seconds in metal, `said` in its context; return its id."""
        context = self.context(tool_id, **said)
        heard = {"steady": steady, "rpm": rpm}
        return self.cut_in(context, seconds, chatter_s=chatter_s, entries=entries, wait=wait, **heard)

    def cut_in(
        self, context: dict, seconds: float, *, chatter_s=0.0, entries=1, wait=True, steady=(), rpm=None
    ) -> str:
        """Log one cut in a context; `steady` and `rpm` are what its analysis says of its sound and speed."""
        cut_id, first = str(uuid.uuid4()), self._sample
        each = round(seconds * RATE_HZ / entries)
        engaged = [(first + 2 * number * each, first + (2 * number + 1) * each) for number in range(entries)]
        end = engaged[-1][1]
        ringing = round(chatter_s * RATE_HZ)
        spans = [{"start_sample": first, "end_sample": first + ringing}] if ringing else []
        self._sample = end + round(10 * RATE_HZ)
        self.archive.start_cut(cut_id, self.stream.stream_id, first, context)
        told = {"state": "cutting", "setup": {"flutes": context.get("flutes")}, "steady": list(steady)}
        told["spindle"] = {"rpm": rpm}
        self.archive.end_cut(cut_id, end, engaged, spans, told, "0", "hash")
        if wait:
            self.archive.flush(filing=False)
        return cut_id


def steady_sound(rng: np.random.Generator, *, louder=0.0, rpm=11950.0, orders=24, **lines) -> list[dict]:
    """Return what an analysis says of the steady sound of one invented cut by three teeth.

    Each line scatters by half a decibel and all together by one; ``line1=6.0`` makes the first one louder.
    """
    order = np.arange(1, orders + 1)
    levels = np.where(order % 3 == 0, -24.0, -36.0) - 6 * np.log2(order) + louder
    levels += 0.5 * rng.standard_normal(orders) + rng.standard_normal()
    for name, more in lines.items():
        levels[int(name.removeprefix("line")) - 1] += more
    return [{"rpm": rpm, "duration_s": 20.0, "lines_db": [round(float(level), 2) for level in levels]}]
