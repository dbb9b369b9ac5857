"""Cuts as the log holds them, without any sound: for what is learned from the log."""

import uuid

from shopmon.records.archive import Archive, StreamInfo

RATE_HZ = 1000.0
CONTEXT = {
    "nominal_rpm": 12000.0, "flutes": 3, "diameter_mm": 10.0, "stickout_mm": 30.0, "milling": "climb",
    "ae_mm": 2.5, "ap_mm": 2.0, "feed_mm_min": 1800.0, "material": "7075", "end_mill": "plum #3",
}  # fmt: skip


def analysis(*parts, unsure: bool = False, clipped: float = 0.0) -> dict:
    """Return what a cut's analysis says; each part is seconds, rpm and the chatter line or None."""
    track, chatter, at = [], [], 0.0
    for seconds, rpm, hz in parts:
        track += [[at + 0.1 * step, rpm, 0.95] for step in range(int(10 * seconds))]
        if hz:
            chatter.append(
                {
                    "start_s": at + 0.1, "end_s": at + seconds, "alarm_s": at + 0.3, "frequency_hz": hz,
                    "level_db": -20.0, "severity": "clear", "kind": "quasi-periodic", "confidence": 0.97,
                }
            )  # fmt: skip
        at += seconds
    cut = {"start_s": 0.0, "end_s": at, "engaged": [[0.0, at]], "cut_time_s": at}
    return {
        "schema": "shopmon.inspection/1", "setup": {"nominal_rpm": 12000.0, "flutes": 3},
        "spindle": {"rpm": parts[0][1] if parts else None, "track": track}, "cuts": [cut] if parts else [],
        "cut_time_s": at, "chatter": chatter, "unsure": unsure,
        "quality": {"clipped_fraction": clipped, "gaps": 0},
    }  # fmt: skip


class Shop:
    """Logs cuts to an archive, one after the other."""

    def __init__(self, archive: Archive):
        self.archive, self.position, self.stream_id = archive, 0, str(uuid.uuid4())
        archive.start_stream(
            StreamInfo(
                source_id="source", stream_id=self.stream_id, name="Synthetic", sample_rate_hz=RATE_HZ,
                channels=1, code_format="int16", settings={},
            )
        )  # fmt: skip

    def cut(self, *parts, context: dict | None = None, event_id: str | None = None, **doubts) -> str:
        """Log one cut with its chatter event, if it has one; return its id."""
        cut_id, told = str(uuid.uuid4()), analysis(*parts, **doubts)
        seconds = told["cut_time_s"]
        first, end = self.position, self.position + int(seconds * RATE_HZ)
        self.archive.start_cut(cut_id, self.stream_id, first, CONTEXT if context is None else context)
        spans = [
            {
                "start_sample": first + int(RATE_HZ * event["start_s"]),
                "end_sample": first + int(RATE_HZ * event["end_s"]),
                "alarm_sample": first + int(RATE_HZ * event["alarm_s"]),
                **{name: event[name] for name in ("frequency_hz", "level_db", "severity", "kind")},
            }
            for event in told["chatter"]
        ]
        if spans and event_id:
            self.archive.add_event(
                event_id, "chatter-started", self.stream_id, spans[0]["alarm_sample"], cut_id, spans[0]
            )
        self.archive.end_cut(cut_id, end, [(first, end)], spans, told, "0", "hash")
        self.archive.flush(filing=False)
        self.position = end + int(5 * RATE_HZ)
        return cut_id
