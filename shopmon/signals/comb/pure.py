"""Whether lines are simply multiples of one frequency: a comb of its own, whatever else they may be."""

import numpy as np

LOWEST_LINES, PARTS = 4, np.arange(1.0, 11.0)
LOWEST_HZ, OFF_SHARE, PART_DOUBT = 8.0, 3e-4, 0.25
NONE = np.zeros(0)
LEAST_LINES, LEAST_WORTH, MEMBER_NATS, MOST_NATS = 3, 0.05, 1.0, 4.0


def pure_comb(
    frequency_hz: np.ndarray, worth: np.ndarray, resolved_hz: float, also_hz: np.ndarray = NONE
) -> tuple[float, np.ndarray]:
    """Return how little chance has to do with it that lines are multiples of one frequency, and which are.

    Every simple part of one of the lowest lines is tried for that frequency, and what else is suspected. Each
    other line that is a multiple of it, to within what can be told, is worth the logarithm of the odds
    against it; the logarithm of the number of trials is taken off.

    Parameters
    ----------
    frequency_hz
        Shape ``(lines,)``.
    worth
        How surely each line is one, 0 to 1, shape ``(lines,)``.
    resolved_hz
        How well a frequency is known.
    also_hz
        Other frequencies to try, shape ``(frequencies,)``.

    Returns
    -------
    nats, members
        0 or more; shape ``(lines,)``, none where the nats are 0.
    """
    nobody = np.zeros(frequency_hz.size, dtype=bool)
    use = worth > LEAST_WORTH
    if np.count_nonzero(use) < LEAST_LINES:
        return 0.0, nobody
    frequency_hz, worth = frequency_hz[use], worth[use]
    lowest = frequency_hz.argsort(kind="stable")[:LOWEST_LINES]
    parts_hz = frequency_hz[lowest, None] / PARTS
    source, part = (parts_hz >= LOWEST_HZ).nonzero()
    tried_hz = np.concatenate((parts_hz[source, part], also_hz))[:, None]
    if not tried_hz.size:
        return 0.0, nobody
    times = np.rint(frequency_hz / tried_hz)
    exact = np.concatenate((PARTS[part], np.full(also_hz.size, np.inf)))
    within_hz = resolved_hz * (1.0 + PART_DOUBT * times / exact[:, None]) + OFF_SHARE * frequency_hz
    nats = np.minimum(np.maximum(-np.log(2.0 * within_hz / tried_hz), 0.0), MOST_NATS)
    nats *= np.abs(frequency_hz - times * tried_hz) <= within_hz
    members = nats > MEMBER_NATS  # so far up the comb that any line is near a multiple, none belongs to it
    # the line that a frequency was taken from says nothing
    nats[np.arange(source.size), lowest[source]] = 0.0
    sums = nats @ worth
    best = int(sums.argmax())
    most = float(sums[best] - np.log(tried_hz.size))
    if most <= 0.0:
        return 0.0, nobody
    nobody[use] = members[best]
    return most, nobody
