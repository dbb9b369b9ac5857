"""What speaks for and against every line that came with the engagement, as plain numbers."""

from dataclasses import dataclass

import numpy as np

from shopmon.listening.family import family_support
from shopmon.listening.kinship import kinship
from shopmon.listening.scene import Scene
from shopmon.listening.strays import OVER, Track

LEAST_HITS = 2
MOST_MISSES = 3
CLEAR_DB = 2.0

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
    "missed_hops",
    "apart",
    "since_contact_s",
    "contrast_db",
    "jitter",
    "comb_rise_db",
    "background_known",
    "flutes_known",
    "followed_s",
    "speed_heard",
    "risen",
    "touching",
)


@dataclass(frozen=True, kw_only=True)
class Circumstances:
    """What holds for all lines of a hop.

    Attributes
    ----------
    onset_sample
        Since when a tooth is, or may be, in metal.
    risen
        The sound has risen.
    touching
        It is certain that one is.
    contrast_db, jitter, followed_s
        How well, how steadily and since when the rotation is followed.
    comb_rise_db
        How much the comb rose over the background.
    rate_hz
        Sample rate of the stream.
    """

    onset_sample: int
    risen: bool
    touching: bool
    contrast_db: float
    jitter: float
    followed_s: float
    comb_rise_db: float
    rate_hz: float


def came_with_the_cut(tracks: list[Track], onset_sample: int) -> list[Track]:
    """Return the tracks that began with or after the contact and are there now."""
    return [
        track
        for track in tracks
        if track.hits >= LEAST_HITS and track.misses <= MOST_MISSES and track.since_sample >= onset_sample
    ]


def clues_of(tracks: list[Track], scene: Scene, around: Circumstances) -> np.ndarray:
    """Return the clues for each track, shape ``(tracks, len(CLUES))``, columns as in `CLUES`.

    Parameters
    ----------
    tracks
        From `came_with_the_cut`, strongest first.
    scene
        The spectrum.
    around
        What holds for all of them.
    """
    table = np.empty((len(tracks), len(CLUES)))
    if not tracks:
        return table
    frequency_hz = np.array([track.frequency_hz for track in tracks])
    power = np.array([track.power for track in tracks])
    level_db = 10 * np.log10(np.maximum(power, 1e-20))
    table[:, : len(OVER)] = [track.over_db for track in tracks]
    columns = [
        level_db - scene.comb.strongest_db,
        *family_support(frequency_hz, scene),
        *_relations(tracks, frequency_hz, power, scene),
        [track.hits for track in tracks],
        [track.misses for track in tracks],
        _apart(frequency_hz, scene),
        (scene.view.sample - around.onset_sample) / around.rate_hz,
    ]
    first = len(OVER)
    for i, column in enumerate(columns):
        table[:, first + i] = column
    table[:, first + len(columns) :] = (
        around.contrast_db,
        1e3 * around.jitter,
        around.comb_rise_db,
        scene.background.has_spectrum,
        scene.flutes is not None,
        around.followed_s,
        scene.trusted,
        around.risen,
        around.touching,
    )
    return table


def _relations(tracks, frequency_hz, power, scene: Scene) -> tuple[np.ndarray, ...]:
    """Strangers, and the level of all kin together over the strongest comb line."""
    related = kinship(frequency_hz, scene.comb.rotation_hz, 1.5 / scene.window.duration_s)
    clear = np.array([track.margin_db > CLEAR_DB and track.hits > LEAST_HITS for track in tracks])
    together_db = 10 * np.log10(np.maximum(related @ power, 1e-20))
    return (~related & clear).sum(axis=1), together_db - scene.comb.strongest_db


def _apart(frequency_hz: np.ndarray, scene: Scene) -> np.ndarray:
    """Distance to the nearest rotation line in window widths."""
    rotation = scene.comb.rotation_hz
    return np.abs(frequency_hz - rotation * np.rint(frequency_hz / rotation)) * scene.window.duration_s
