"""What runs in lanes under the picture: speed, comb against stray energy, level and clipping, and bands."""

from dataclasses import asdict
from typing import Any

import numpy as np

from shopmon.service.review.picture import OpenSound, sound_series
from shopmon.service.review.stretch import Stretch

SCHEMA = "shopmon.lanes/1"
MOST_BANDS = 2000


def lanes(
    stretch: Stretch, sound: OpenSound | None, from_s: float, to_s: float, points: int
) -> dict[str, Any]:
    """Return ``shopmon.lanes/1``, see DEVELOPERS.md.

    Parameters
    ----------
    stretch
        The cut.
    sound
        Its recording, None where it cannot be heard.
    from_s, to_s
        The part that is looked at.
    points
        Most points of a series.
    """
    heard = None if sound is None else sound_series(sound, from_s, to_s, points)
    return {
        "schema": SCHEMA,
        "id": stretch.id,
        "from_s": from_s,
        "to_s": to_s,
        "duration_s": stretch.duration_s if sound is None else sound.reader.duration_s,
        "sample_rate_hz": None if sound is None else sound.reader.sample_rate_hz,
        "flutes": stretch.flutes,
        "rpm": _whole_rpm(stretch),
        "figures": figures(stretch, from_s, to_s, points),
        "sound": None if heard is None else {name: rounded(name, heard[name]) for name in heard},
        "picture_share": None if sound is None else round(sound.share, 3),
        "engaged": _within(stretch.engaged, from_s, to_s, lambda span: span),
        "chatter": _within(stretch.chatter, from_s, to_s, lambda span: (span["start_s"], span["end_s"])),
        "strays": [asdict(box) for box in stretch.strays if box.start_s < to_s and box.end_s > from_s][
            :MOST_BANDS
        ],
        "marks": [mark for mark in stretch.marks if from_s <= mark["t_s"] <= to_s][:MOST_BANDS],
        "level_reference": "dB re full scale (uncalibrated)",
        "messages": list(stretch.messages),
    }


def figures(stretch: Stretch, from_s: float, to_s: float, points: int) -> dict[str, list]:
    """Return the figures per frame of a part, thinned: levels keep their largest, the speed its middle."""
    time = stretch.figures["t_s"]
    first = max(0, int(np.searchsorted(time, from_s)) - 1)
    last = min(time.size, int(np.searchsorted(time, to_s, side="right")) + 1)
    step = max(1, -(-(last - first) // points))
    starts = np.arange(0, last - first, step)
    if not starts.size:
        return {name: [] for name in ("t_s", "rpm", "level_db", "comb_db", "stray_db")}
    series = {"t_s": rounded("t_s", time[first:last][np.minimum(starts + step // 2, last - first - 1)])}
    for name in ("level_db", "comb_db", "stray_db"):
        series[name] = rounded(name, np.fmax.reduceat(stretch.figures[name][first:last], starts))
    rpm = stretch.figures["rpm"][first:last]
    known = np.isfinite(rpm)
    total = np.add.reduceat(np.where(known, rpm, 0.0), starts)
    count = np.add.reduceat(known.astype(int), starts)
    series["rpm"] = rounded("rpm", np.where(count > 0, total / np.maximum(count, 1), np.nan))
    return series


def rounded(name: str, series: np.ndarray) -> list:
    """Return a series for JSON with the digits it deserves; None where it is not known."""
    digits = {"t_s": 4, "rpm": 1, "low": 5, "high": 5, "clipped": 6}.get(name, 1)
    return [
        round(value, digits) if np.isfinite(value) else None for value in np.asarray(series, float).tolist()
    ]


def _whole_rpm(stretch: Stretch) -> float | None:
    known = stretch.figures["rpm"][np.isfinite(stretch.figures["rpm"])]
    return stretch.rpm or (round(float(np.median(known)), 1) if known.size else None)


def _within(spans: list, from_s: float, to_s: float, ends) -> list:
    """Return the spans that lie in a part; where they are too many, near ones are not told apart."""
    inside = [span for span in spans if ends(span)[0] < to_s and ends(span)[1] > from_s]
    return inside[:: -(-len(inside) // MOST_BANDS) or 1]
