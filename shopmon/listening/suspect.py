"""Which stray line of an engagement is under suspicion, and what kind of chatter it would be."""

import numpy as np

from shopmon.listening.chatter import Suspicion, kind_of
from shopmon.listening.family import family_support
from shopmon.listening.scene import Scene
from shopmon.listening.strays import Strays, Track, find_lines

LEAST_HITS = 2
CANDIDATES = 3
CLEAR_DB = 2.0


def suspect(scene: Scene, strays: Strays, onset: int | None) -> tuple[Suspicion | None, str]:
    """Follow the stray lines; return the worst that came with the engagement, and its kind.

    Parameters
    ----------
    scene
        The spectrum.
    strays
        The tracks, which are taken one hop on.
    onset
        Since when a tooth is, or may be, in metal; None when none is.
    """
    strays.follow(find_lines(scene), scene, onset is not None)
    fresh = [track for track in strays.tracks if _belongs(track, onset)]
    tracks = sorted(fresh, key=lambda track: -track.margin_db)[:CANDIDATES]
    if not tracks:
        return None, "unclassified"
    rotation, tolerance = scene.comb.rotation_hz, 1.5 / scene.window.duration_s
    families = family_support(np.array([track.frequency_hz for track in tracks]), scene)
    suspicions = [
        Suspicion(track=track, family=float(family), strangers=strangers(track, fresh, rotation, tolerance))
        for track, family in zip(tracks, families, strict=True)
    ]
    worst = max(suspicions, key=lambda s: min(s.track.margin_db, 8.0) + 2.0 * s.family - 2.0 * s.strangers)
    kin = [track for track in fresh if not is_stranger(worst.track, track, rotation, tolerance)]
    strongest = max(kin, key=lambda track: track.power)
    shown = strongest if strongest.margin_db > 0 else worst.track
    away = 0.5 / scene.window.duration_s + 7e-4 * shown.frequency_hz
    kind = kind_of(shown.frequency_hz, rotation, scene.flutes, away)
    return Suspicion(track=shown, family=worst.family, strangers=worst.strangers), kind


def _belongs(track: Track, onset: int | None) -> bool:
    """The line came with the engagement and is there now."""
    recent = track.hits >= LEAST_HITS and track.misses <= 3
    return recent and onset is not None and track.since_sample >= onset


def strangers(track: Track, others: list[Track], rotation_hz: float, tolerance_hz: float) -> int:
    """Count other clear new lines that are no relatives of a line: another machine has lines of its own."""
    clear = [other for other in others if other.margin_db > CLEAR_DB and other.hits > LEAST_HITS]
    return sum(is_stranger(track, other, rotation_hz, tolerance_hz) for other in clear)


def is_stranger(track: Track, other: Track, rotation_hz: float, tolerance_hz: float) -> bool:
    """Two lines of one chatter differ by, or add up to, a multiple of the rotation."""
    for distance in (track.frequency_hz - other.frequency_hz, track.frequency_hz + other.frequency_hz):
        if abs(distance - rotation_hz * round(distance / rotation_hz)) <= tolerance_hz:
            return False
    return True
