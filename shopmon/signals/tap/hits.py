"""Finding the hits of a hammer in a recording, and refusing those that are not one clean hit.

Where a force is measured, its contact tells a hit. Where only the ringing is heard, so are voices, doors and
machines: there a hit must come out of quiet, be loudest within milliseconds, and die away. Bounds are our own
judgement on simulated hits and on recordings of other things.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from shopmon.errors import RecordingError

TRIGGER_SHARE = 0.2  # of the recording's hardest hit
LEAST_OVER_NOISE = 8.0
PRE_ROLL_S = 0.001
AGAIN_SHARE, AGAIN_GAP_S = (
    0.05,
    0.0006,
)  # a second touch this strong, this long after the first, is a double hit
CONTACT_SHARE = 0.02
LONGEST_CONTACT_S = 0.02
FRAME_S = 0.0005
QUIET_BEFORE_S, QUIET_BEFORE = 0.02, 0.1  # r.m.s. before, of the peak
ONSET_SHARE, LOUD_SHARE, SHARP_S = 0.1, 0.7, 0.004
LOUDEST_BY_S, LEFT_AT_LAST = 0.015, 0.3  # mean of the last half over the peak
SWELL_FRAME_S, SWELL_RISE, SWELL_SHARE = 0.01, 5.6, 0.18  # two modes that beat swell less in such frames
SECOND_SHARE, SECOND_RISE, SECOND_LOOK_S, SECOND_FROM_S = 0.15, 3.0, 0.004, 0.003

Fault = Literal["double", "overload", "cut-off", "no-hit", "no-ring", "other-ring"]


@dataclass(frozen=True)
class Hit:
    """One hit of the hammer.

    Attributes
    ----------
    begin, over, end
        Samples: before the hit, after contact has ended, and where the next hit or the recording's end cuts
        it.
    peak
        Largest force, or response where there is no force.
    fault
        Why it may not be used; None for a good one.
    """

    begin: int
    over: int
    end: int
    peak: float
    fault: Fault | None


def find_hits(
    trigger: np.ndarray,
    sample_rate_hz: float,
    length_s: float,
    *,
    full_scale: float | None = None,
    with_force: bool = True,
) -> list[Hit]:
    """Find the hits in a force signal, or in a response where no force was measured.

    Parameters
    ----------
    trigger
        Shape ``(n,)``: the force, or the response.
    length_s
        How long a hit's record should be.
    full_scale
        From which magnitude the sensor is overloaded.
    with_force
        `trigger` is a force: contact can be seen to end, and a second touch told from ringing.

    Raises
    ------
    RecordingError
        Nothing stands out of the noise.
    """
    size = np.abs(trigger - np.median(trigger))
    noise = float(np.median(size)) / 0.6745
    hardest = float(size.max()) if size.size else 0.0
    if hardest <= LEAST_OVER_NOISE * noise or hardest == 0:
        raise RecordingError("No hit stands out of the recording.", "Hit a little harder, or raise the gain.")
    level = max(TRIGGER_SHARE * hardest, LEAST_OVER_NOISE * noise)
    above = np.flatnonzero(size >= level)
    starts, last = [], -np.inf
    apart = length_s * sample_rate_hz
    for sample in above:
        if sample - last >= apart:
            starts.append(int(sample))
            last = sample
    ends = [*starts[1:], trigger.size]
    return [
        judged(size, start, min(end, start + int(apart)), sample_rate_hz,
               full_scale=full_scale, with_force=with_force, length_s=length_s)
        for start, end in zip(starts, ends, strict=True)
    ]  # fmt: skip


def judged(
    size: np.ndarray,
    start: int,
    end: int,
    sample_rate_hz: float,
    *,
    length_s: float,
    full_scale: float | None = None,
    with_force: bool = True,
) -> Hit:
    """Judge what begins at `start`.

    Parameters
    ----------
    size
        Shape ``(n,)``: magnitude of the force, or of the response, with what was before the hit.
    start, end
        First sample above the trigger, and where the next hit or the record's length ends it.
    sample_rate_hz, length_s, full_scale, with_force
        As in `find_hits`.
    """
    rate = sample_rate_hz
    pre = int(PRE_ROLL_S * rate)
    begin, end = max(0, start - pre), end - pre
    contact = size[start : min(start + int(LONGEST_CONTACT_S * rate), size.size)]
    top = int(np.argmax(contact[: max(1, int(0.005 * rate))]))
    peak, over = float(contact[top]), start + top
    if with_force:
        low = np.flatnonzero(contact[top:] < CONTACT_SHARE * peak)
        over += int(low[0]) if low.size else contact.size - top - 1
        later = size[over + int(AGAIN_GAP_S * rate) : end]
        fault: Fault | None = "double" if later.size and later.max() > AGAIN_SHARE * peak else None
    else:
        over += int(PRE_ROLL_S * rate)
        fault = _fault_by_ear(size, begin, end, rate)
    if full_scale is not None and size[begin:end].max() >= full_scale and fault != "no-hit":
        fault = "overload"
    if end - begin < 0.5 * length_s * rate:
        fault = "cut-off"
    return Hit(begin, over, end, peak, fault)


def _fault_by_ear(size: np.ndarray, begin: int, end: int, rate: float) -> Fault | None:
    """Tell what is wrong with a hit of which only the ringing is known."""
    step = max(1, int(FRAME_S * rate))
    frames = (end - begin) // step
    if frames < 4:
        return "no-hit"
    loud = size[begin : begin + frames * step].reshape(frames, step).max(axis=1)
    peak = loud.max()
    before = size[max(0, begin - int(QUIET_BEFORE_S * rate)) : begin]
    came_s = (np.argmax(loud >= LOUD_SHARE * peak) - np.argmax(loud >= ONSET_SHARE * peak)) * step / rate
    quiet = before.size == 0 or np.sqrt(np.mean(before**2)) < QUIET_BEFORE * peak
    left = loud[frames // 2 :].mean() / peak
    if not quiet or came_s > SHARP_S or left > LEFT_AT_LAST:
        return "no-hit"
    if _second_onset(loud, step / rate):
        return "double"
    late = np.argmax(loud) * step / rate > LOUDEST_BY_S
    return "no-hit" if late or _swells(size[begin:end], max(1, int(SWELL_FRAME_S * rate))) else None


def _swells(size: np.ndarray, frame: int) -> bool:
    """Tell whether it comes back after it had died away, as a vowel does after its consonant."""
    count = size.size // frame
    level = np.sqrt(np.mean(size[: count * frame].reshape(count, frame) ** 2, axis=1))
    top = min(int(np.argmax(size)) // frame, count - 1)
    after = level[top:]
    lowest = np.minimum.accumulate(after)
    back = (after > SWELL_RISE * np.maximum(lowest, 1e-300)) & (after > SWELL_SHARE * level[top])
    return bool(back.any())


def _second_onset(loud: np.ndarray, frame_s: float) -> bool:
    """Tell whether it jumps up again, faster than two modes that beat let it."""
    look = max(1, int(SECOND_LOOK_S / frame_s))
    first = int(np.argmax(loud >= LOUD_SHARE * loud.max())) + int(SECOND_FROM_S / frame_s)
    later = np.arange(max(first, look), loud.size)
    if later.size == 0:
        return False
    before = np.lib.stride_tricks.sliding_window_view(loud, look).max(axis=1)[later - look]
    jumps = (loud[later] > SECOND_RISE * before) & (loud[later] > SECOND_SHARE * loud.max())
    return bool(jumps.any())
