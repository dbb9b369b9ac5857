"""Which line of a family is told as the chatter frequency.

The strongest member lies nearest to the mode that rings, which is what advice is reckoned from. Runout gives
every member neighbours at the distance of one rotation, which may be as strong: they are told apart by what
all lines at tooth-passing distance come to together.
"""

import numpy as np

from shopmon.listening.chatter.kinship import off_multiple, overtones, pair_steps, steps_nats
from shopmon.listening.chatter.strays import Track
from shopmon.listening.scene import Scene

SAME_SHARE, SAME_HZ = 0.01, 3.0
SURE_NATS = 2.0
RESOLVED = 0.6  # of a window's width
LOUDEST = 0.99


def member_to_tell(worst: Track, kin: list[Track], tracks: list[Track], scene: Scene) -> Track:
    """Return the strongest of the strongest set of lines at tooth-passing distance.

    Parameters
    ----------
    worst
        The line that gave rise to suspicion.
    kin
        Its relatives among the lines that came with the cut.
    tracks
        All lines that are followed: of those that began before the cut was noticed, only relatives that are
        hardly so by chance are considered.
    scene
        The spectrum.
    """
    stray = [track for track in tracks if track.margin_db > 0 and track.misses == 0]
    if not stray:
        return worst
    sure = _surely_related(worst, stray, scene)
    known = {id(track) for track in kin}
    family = [track for track, yes in zip(stray, sure, strict=True) if yes or id(track) in known]
    if len(family) < 2 or scene.flutes is None:
        return max(family, key=lambda track: track.power, default=worst)
    return family[_strongest(family, scene)]


def add_member(told: list[list[float]], frequency_hz: float, power: float) -> float:
    """Add what one hop told to what was told of this chatter; return the frequency with the most energy.

    A single loud hop names a neighbour now and then; and the line wanders as depth and motion grow.

    Parameters
    ----------
    told
        ``[frequency in Hz, energy]`` of each line told so far; changed in place.
    frequency_hz, power
        The line told now.
    """
    for line in told:
        if abs(line[0] - frequency_hz) <= max(SAME_SHARE * frequency_hz, SAME_HZ):
            line[1] += power
            line[0] += power / line[1] * (frequency_hz - line[0])
            break
    else:
        told.append([frequency_hz, power])
    return max(told, key=lambda line: line[1])[0]


def _surely_related(worst: Track, stray: list[Track], scene: Scene) -> np.ndarray:
    """Which lines are the worst one's relatives, or relatives of these, and not by chance."""
    frequency_hz = np.array([worst.frequency_hz, *(track.frequency_hz for track in stray)])
    resolved_hz = RESOLVED / scene.window.duration_s
    step = steps_nats(frequency_hz, scene.comb.rotation_hz, resolved_hz, scene.doubt) >= SURE_NATS
    step |= overtones(frequency_hz, resolved_hz)
    return (step[0] @ step | step[0])[1:]


def _strongest(family: list[Track], scene: Scene) -> int:
    """Index of the loudest among those whose set at tooth-passing distance is the loudest."""
    frequency_hz = np.array([track.frequency_hz for track in family])
    power = np.array([track.power for track in family])
    spacing = scene.comb.rotation_hz * scene.flutes
    steps = pair_steps(frequency_hz)
    within = RESOLVED / scene.window.duration_s + scene.doubt * steps
    together = off_multiple(steps, spacing) <= within
    total = (together[0] | together[1]) @ power
    return int(np.where(total > LOUDEST * total.max(), power, 0.0).argmax())
