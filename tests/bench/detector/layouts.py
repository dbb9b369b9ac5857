"""When the tool is in metal and how deep: the layouts that cases are drawn from."""

from dataclasses import replace

import numpy as np

from shopmon.cutting.simulation.plan import Corner, Engagement
from tests.bench.detector.chance import log_uniform


def from_the_start(engagements):
    """Move everything so that the recording begins in metal."""
    shift = engagements[0].start_s - 0.02
    return tuple(moved_by(engagement, -shift) for engagement in engagements)


def moved_by(engagement, shift_s):
    """An engagement at another time."""

    def at(time_s):
        return None if time_s is None else time_s + shift_s

    corners = tuple(
        replace(corner, start_s=at(corner.start_s), end_s=at(corner.end_s)) for corner in engagement.corners
    )
    return replace(
        engagement, start_s=at(engagement.start_s), end_s=at(engagement.end_s), corners=corners,
        ramp_start_s=at(engagement.ramp_start_s), ramp_end_s=at(engagement.ramp_end_s),
    )  # fmt: skip


def span(plan, rng):
    """Start and end of all metal, s."""
    start = float(rng.uniform(1.2, 2.6))
    return start, float(rng.uniform(start + 2.8, plan.duration_s - 0.3))


def entry(rng):
    """How long the tool takes to come in, s."""
    return log_uniform(rng, (0.02, 0.5))


def plain(plan, depth, rng):
    """One depth throughout."""
    start, end = span(plan, rng)
    return (Engagement(start_s=start, end_s=end, ap_start_mm=depth, entry_s=entry(rng)),)


def ramp(plan, depth, rng):
    """A depth that grows."""
    start, end = span(plan, rng)
    return (
        Engagement(
            start_s=start, end_s=end, ap_start_mm=depth * float(rng.uniform(0.15, 0.4)), ap_end_mm=depth,
            ramp_start_s=start + 0.4, ramp_end_s=float(rng.uniform(start + 1.5, end - 0.6)),
            entry_s=entry(rng),
        ),
    )  # fmt: skip


def onset(plan, depth, rng):
    """A step of depth in mid-cut."""
    start, end = span(plan, rng)
    step = float(rng.uniform(start + 1.0, end - 1.2))
    return (
        Engagement(
            start_s=start, end_s=end, ap_start_mm=depth * float(rng.uniform(0.2, 0.4)), ap_end_mm=depth,
            ramp_start_s=step, ramp_end_s=step + float(rng.uniform(0.03, 0.3)), entry_s=entry(rng),
        ),
    )  # fmt: skip


def several(plan, depth, rng):
    """Two or three engagements; the last is the deepest."""
    start, end = span(plan, rng)
    count = int(rng.integers(2, 4))
    gap = float(rng.uniform(0.25, 0.9)) if count == 2 else float(rng.uniform(0.2, 0.5))
    each = (end - start - (count - 1) * gap) / count
    shares = [*rng.uniform(0.3, 1.0, count - 1), 1.0]
    return tuple(
        Engagement(
            start_s=start + number * (each + gap), end_s=start + number * (each + gap) + each,
            ap_start_mm=depth * float(share), entry_s=min(entry(rng), 0.3 * each),
        )
        for number, share in enumerate(shares)
    )  # fmt: skip


def pecks(plan, depth, rng):
    """Short re-entries."""
    start, end = span(plan, rng)
    each, gap = float(rng.uniform(0.3, 0.8)), float(rng.uniform(0.15, 0.45))
    count = max(2, int((end - start) / (each + gap)))
    return tuple(
        Engagement(start_s=begin, end_s=begin + each, ap_start_mm=depth, entry_s=0.04)
        for begin in (start + number * (each + gap) for number in range(count))
        if begin + each < plan.duration_s
    )


def corners(plan, depth, rng):
    """A depth that jumps for a moment, as where the tool meets a corner."""
    start, end = span(plan, rng)
    factor = float(rng.uniform(1.3, 2.0))
    places = np.sort(rng.uniform(start + 0.5, end - 0.9, 2))
    width = float(rng.uniform(0.25, 0.7))
    turns = tuple(
        Corner(start_s=float(place), end_s=float(place) + width, factor=factor)
        for place in (places if places[1] - places[0] > width else places[:1])
    )
    return (
        Engagement(start_s=start, end_s=end, ap_start_mm=depth / factor, entry_s=entry(rng), corners=turns),
    )


LAYOUTS = {
    "plain": plain,
    "ramp": ramp,
    "onset": onset,
    "several": several,
    "pecks": pecks,
    "corners": corners,
}
SHAPES = {
    "chatter": (("plain", "ramp", "onset", "several", "corners"), (0.36, 0.24, 0.2, 0.14, 0.06)),
    "stable": (("plain", "ramp", "onset", "several", "pecks", "corners"), (0.36, 0.18, 0.1, 0.14, 0.1, 0.12)),
}
