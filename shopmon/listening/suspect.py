"""Which stray line of an engagement is under suspicion, and what kind of chatter it would be."""

import numpy as np

from shopmon.listening.background import Background
from shopmon.listening.chatter import Suspicion, kind_of
from shopmon.listening.comb_view import CombView
from shopmon.listening.family import family_support
from shopmon.listening.front import View, Window
from shopmon.listening.strays import Strays, Track, find_lines
from shopmon.listening.tracker import SpeedTracker

LEAST_HITS = 2
CANDIDATES = 3
CLEAR_DB = 2.0


def suspect(
    view: View,
    window: Window,
    comb: CombView,
    raised_db: np.ndarray,
    background: Background,
    strays: Strays,
    onset: int | None,
    tracker: SpeedTracker,
    flutes: int | None,
) -> tuple[Suspicion | None, str]:
    """Follow the stray lines; return the worst that came with the engagement, and its kind."""
    lines = find_lines(view, window, comb, background, tracker.slope)
    strays.follow(lines, view.sample, window, comb, onset is not None)
    fresh = [track for track in strays.tracks if _belongs(track, onset)]
    tracks = sorted(fresh, key=lambda track: -track.margin_db)[:CANDIDATES]
    if not tracks:
        return None, "unclassified"
    suspicions = [
        Suspicion(
            track=track,
            family=family_support(
                track.frequency_hz, comb, flutes, raised_db, view.floor_db, background, window
            ),
            strangers=strangers(track, fresh, comb.rotation_hz, 1.5 / window.duration_s),
        )
        for track in tracks
    ]
    worst = max(suspicions, key=lambda s: min(s.track.margin_db, 8.0) + 2.0 * s.family - 2.0 * s.strangers)
    kin = [
        track
        for track in fresh
        if not is_stranger(worst.track, track, comb.rotation_hz, 1.5 / window.duration_s)
    ]
    strongest = max(kin, key=lambda track: track.power)
    tolerance = 0.5 / window.duration_s + 7e-4 * strongest.frequency_hz
    kind = kind_of(strongest.frequency_hz, comb.rotation_hz, flutes, tolerance)
    shown = strongest if strongest.margin_db > 0 else worst.track
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
