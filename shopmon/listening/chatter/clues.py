"""What speaks for and against every line that came with the engagement, as plain numbers."""

from dataclasses import dataclass

import numpy as np

from shopmon.listening.chatter.family import family_support
from shopmon.listening.chatter.kinship import kinship, off_multiple, steps_nats
from shopmon.listening.chatter.strays import OVER, Track
from shopmon.listening.scene import Scene
from shopmon.signals.comb.pure import pure_comb

LEAST_HITS = 2
AT_ONCE_DB = 6.0  # a line that stands out by so much more than it must counts from its first hop
MOST_MISSES = 3
CLEAR_DB, CLEAR_ALL_DB = 2.0, 6.0
LEAST_KIN_NATS = 2.0
PARTS, NO_PARTS = np.array([1 / 2, 1 / 3, 1 / 4]), np.zeros(0)
RESOLVED = 0.4  # of a window's width: how well the distance of two lines is known

CLUES = (
    "over_floor_db",
    "over_background_db",
    "grown_db",
    "over_comb_db",
    "over_skirt_db",
    "over_strongest_db",
    "family_teeth",
    "family_rotation",
    "strangers",
    "kin_over_comb_db",
    "age_hops",
    "apart",
    "kin_nats",
    "kin_lead",
    "background_known",
    "flutes_known",
    "followed_s",
    "speed_heard",
    "risen",
    "touching",
    "told",
    "background_unknown",
)


@dataclass(frozen=True, kw_only=True)
class Circumstances:
    """What holds for all lines of a hop.

    Attributes
    ----------
    onset_sample
        Since when a tooth is, or may be, in metal.
    fresh_sample
        Since when a line must have been heard that has no relatives.
    risen
        The sound has risen.
    touching
        It is certain that one is.
    followed_s
        Since when the rotation is followed.
    told
        The speed that is followed was told.
    """

    onset_sample: int
    fresh_sample: int
    risen: bool
    touching: bool
    followed_s: float
    told: bool


def came_with_the_cut(tracks: list[Track], onset_sample: int) -> list[Track]:
    """Return the tracks that began with or after the contact and are there now."""
    return [track for track in tracks if track.since_sample >= onset_sample and _is_there(track)]


def _is_there(track: Track) -> bool:
    if track.hits >= LEAST_HITS:
        return track.misses <= MOST_MISSES
    return track.misses == 0 and track.margin_db > AT_ONCE_DB


def related_lines(tracks: list[Track], scene: Scene) -> np.ndarray:
    """Return which tracks are relatives of which, shape ``(tracks, tracks)``."""
    frequency_hz = np.array([track.frequency_hz for track in tracks])
    return kinship(frequency_hz, scene.comb.rotation_hz, 1.5 / scene.window.duration_s)


def clues_of(tracks: list[Track], related: np.ndarray, scene: Scene, around: Circumstances) -> np.ndarray:
    """Return the clues for each track, shape ``(tracks, len(CLUES))``, columns as in `CLUES`.

    Parameters
    ----------
    tracks
        From `came_with_the_cut`, strongest first; at least one.
    related
        From `related_lines`.
    scene
        The spectrum.
    around
        What holds for all of them.
    """
    table = np.empty((len(tracks), len(CLUES)))
    frequency_hz = np.array([track.frequency_hz for track in tracks])
    power = np.array([track.power for track in tracks])
    level_db = 10 * np.log10(np.maximum(power, 1e-20))
    table[:, : len(OVER)] = [track.over_db for track in tracks]
    kin_nats, kin_lead, elsewhere = _kin(tracks, frequency_hz, scene, around.told)
    columns = [
        level_db - scene.comb.strongest_db,
        *family_support(frequency_hz, scene),
        _strangers(tracks, related, elsewhere),
        10 * np.log10(np.maximum(related @ power, 1e-20)) - scene.comb.strongest_db,
        [track.hits for track in tracks],
        _apart(frequency_hz, scene),
        kin_nats,
        kin_lead,
    ]
    first = len(OVER)
    for i, column in enumerate(columns):
        table[:, first + i] = column
    table[:, first + len(columns) :] = (
        scene.compared,
        scene.flutes is not None,
        around.followed_s,
        scene.trusted,
        around.risen,
        around.touching,
        around.told,
        not scene.compared,
    )
    return table


def _strangers(tracks: list[Track], related: np.ndarray, elsewhere: np.ndarray) -> np.ndarray:
    """Count the clear lines that are no relatives: music has many. One comb of its own counts as none."""
    clear = np.array([track.margin_db > CLEAR_DB and track.hits > LEAST_HITS for track in tracks])
    return np.count_nonzero(~related & (clear & ~elsewhere), axis=1)


def _kin(
    tracks: list[Track], frequency_hz: np.ndarray, scene: Scene, told: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return how improbable by chance the relatives of each line are, their lead, and a comb of its own.

    Relatives are clear lines a multiple of the rotation away. What they lead over is that lines are simply
    multiples of one frequency, as those of another machine are, and those of our own spindle where a multiple
    of its speed was found. That speaks against the lines of that comb only, and they are no relatives of the
    others.
    """
    clear = np.array([_clear(track) for track in tracks])
    resolved_hz = RESOLVED / scene.window.duration_s
    steps = steps_nats(frequency_hz, scene.comb.rotation_hz, resolved_hz, scene.doubt)
    nats = steps @ clear
    if nats.max() < LEAST_KIN_NATS:
        return nats, nats, np.zeros(nats.size, dtype=bool)
    worth = clear * np.array([track.hits > LEAST_HITS for track in tracks])
    newest_hz = np.array([track.newest_hz for track in tracks])
    parts = NO_PARTS if told else PARTS
    own, members = pure_comb(newest_hz, worth, resolved_hz, scene.comb.rotation_hz * parts)
    return nats, np.where(members, nats - own, steps @ (clear * ~members)), members


def _clear(track: Track) -> float:
    return min(max(track.margin_db / CLEAR_ALL_DB, 0.0), 1.0)


def _apart(frequency_hz: np.ndarray, scene: Scene) -> np.ndarray:
    """Distance to the nearest rotation line in window widths."""
    return off_multiple(frequency_hz, scene.comb.rotation_hz) * scene.window.duration_s
