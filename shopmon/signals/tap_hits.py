"""Finding the hits of a hammer in a recording, and refusing those that are not one clean hit."""

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

Fault = Literal["double", "overload", "cut-off"]


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
    pre = int(PRE_ROLL_S * sample_rate_hz)
    return [
        _hit(size, start, max(0, start - pre), min(end - pre, start - pre + int(apart)), sample_rate_hz,
             full_scale, with_force, int(apart))
        for start, end in zip(starts, ends, strict=True)
    ]  # fmt: skip


def _hit(size, start, begin, end, rate, full_scale, with_force, wanted) -> Hit:
    contact = size[start : min(start + int(LONGEST_CONTACT_S * rate), size.size)]
    top = int(np.argmax(contact[: max(1, int(0.005 * rate))]))
    peak = float(contact[top])
    fault: Fault | None = None
    over = start + top
    if with_force:
        low = np.flatnonzero(contact[top:] < CONTACT_SHARE * peak)
        over += int(low[0]) if low.size else contact.size - top - 1
        later = size[over + int(AGAIN_GAP_S * rate) : end]
        if later.size and later.max() > AGAIN_SHARE * peak:
            fault = "double"
    else:
        over += int(PRE_ROLL_S * rate)
    if full_scale is not None and size[begin:end].max() >= full_scale:
        fault = "overload"
    if end - begin < 0.5 * wanted:
        fault = "cut-off"
    return Hit(begin, over, end, peak, fault)
