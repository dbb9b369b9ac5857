"""Which stray line of an engagement is under suspicion, and what kind of chatter it would be."""

import numpy as np

from shopmon.listening.background import Background
from shopmon.listening.chatter import Suspicion, kind_of
from shopmon.listening.comb_view import CombView
from shopmon.listening.family import family_support
from shopmon.listening.front import View, Window
from shopmon.listening.strays import Strays, find_lines
from shopmon.listening.tracker import SpeedTracker

LEAST_HITS = 2
CANDIDATES = 3


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
    """Follow the stray lines of a spectrum; return the worst of those that came with the engagement, and its kind."""
    lines = find_lines(view, window, comb, background, tracker.slope)
    strays.follow(lines, view.sample, window, comb, onset is not None)
    tracks = [track for track in strays.tracks if track.engaged and onset is not None and track.since_sample >= onset and track.hits >= LEAST_HITS and track.misses <= 3]
    tracks = sorted(tracks, key=lambda track: -track.margin_db)[:CANDIDATES]
    suspicions = [
        Suspicion(
            track=track,
            family=family_support(
                track.frequency_hz, comb, flutes, raised_db, view.floor_db, background, window
            ),
        )
        for track in tracks
    ]
    if not suspicions:
        return None, "unclassified"
    worst = max(suspicions, key=lambda s: min(s.track.margin_db, 8.0) + 2.0 * s.family)
    strongest = max(tracks, key=lambda track: track.power)
    tolerance = 0.5 / window.duration_s + 7e-4 * strongest.frequency_hz
    kind = kind_of(strongest.frequency_hz, comb.rotation_hz, flutes, tolerance)
    return Suspicion(track=strongest if strongest.margin_db > 0 else worst.track, family=worst.family), kind
