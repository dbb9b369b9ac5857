"""Which stray line of an engagement is under suspicion, and what kind of chatter it would be."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import compress
from operator import attrgetter

import numpy as np

from shopmon.listening.chatter.clues import CLUES, Circumstances, came_with_the_cut, clues_of, related_lines
from shopmon.listening.chatter.crowd import in_crowd
from shopmon.listening.chatter.members import member_to_tell
from shopmon.listening.chatter.other_comb import on_other_comb
from shopmon.listening.chatter.strays import Strays, Track, find_lines
from shopmon.listening.chatter.weights import MODEL
from shopmon.listening.rotation.comb_view import WITHIN
from shopmon.listening.scene import Scene

APART, KIN, STRANGERS = (CLUES.index(name) for name in ("apart", "kin_nats", "strangers"))
FAMILY = [CLUES.index(name) for name in ("family_teeth", "family_rotation", "kin_nats", "kin_lead")]
RELATED_NATS, MOST_STRANGERS, MOST_THEIRS = 4.0, 4, 0.5
LIKELY, ALIKE = -1.0, 1.0  # log-odds from which it matters which member of the family is told
_power = attrgetter("power")


@dataclass(frozen=True, kw_only=True, eq=False)
class Suspicion:
    """What one hop holds against the cut.

    Attributes
    ----------
    track
        The line to be named: the strongest of the family.
    log_odds
        That the worst line is chatter.
    kind
        Kind of chatter it would be.
    clues
        Of the worst line, columns as in `CLUES`.
    doubts
        What of the log-odds is owed to what speaks against it over a longer time, by name: see `Doubts`.
    """

    track: Track
    log_odds: float
    kind: str = "unclassified"
    clues: np.ndarray | None = None
    doubts: Mapping[str, float] = field(default_factory=dict)

    @property
    def kin_nats(self) -> float:
        """How improbable the relatives of the worst line are by chance."""
        return 0.0 if self.clues is None else float(self.clues[KIN])

    @property
    def among_strangers(self) -> bool:
        """So many other lines are new that it may be music or another machine."""
        return self.clues is not None and self.clues[STRANGERS] > MOST_STRANGERS


def suspect(scene: Scene, strays: Strays, around: Circumstances) -> Suspicion | None:
    """Follow the stray lines one hop on; return the worst that came with the engagement.

    Parameters
    ----------
    scene
        The spectrum.
    strays
        The tracks.
    around
        What holds for all lines.
    """
    strays.follow(find_lines(scene), scene)
    tracks = came_with_the_cut(strays.tracks, around.onset_sample)
    if not tracks:
        return None
    related = related_lines(tracks, scene)
    clues = clues_of(tracks, related, scene, around)
    # where another rotation has just been found, lines of its comb may still be followed as stray
    fresh = np.array([track.since_sample >= around.fresh_sample for track in tracks])
    counts = (clues[:, APART] >= WITHIN) & (fresh | (clues[:, KIN] >= RELATED_NATS))
    off_comb = counts.nonzero()[0]
    if not off_comb.size:
        return None
    odds = MODEL.log_odds(clues[off_comb])
    if odds.max() > LIKELY:  # else it does not matter
        strange = _on_other_comb(tracks, strays, scene) | in_crowd(tracks, scene)
        off_comb = off_comb[~strange[off_comb]]
        if not off_comb.size:
            return None
        _take_back(clues, related, strange, MOST_THEIRS if around.told else 0.0)
        odds = MODEL.log_odds(clues[off_comb])
    worst, most = int(off_comb[odds.argmax()]), float(odds.max())
    likely = most > LIKELY
    # tracks are sorted by power: of lines about as likely, the strongest leads to what is told
    first = int(off_comb[(odds > most - ALIKE).argmax()]) if likely else worst
    kin = list(compress(tracks, related[first].tolist()))
    if likely:
        shown = member_to_tell(tracks[first], kin, strays.tracks, scene)
    else:
        shown = max((track for track in kin if track.margin_db > 0), key=_power, default=tracks[worst])
    away = 0.5 / scene.window.duration_s + 7e-4 * shown.frequency_hz
    return Suspicion(
        track=Track(**vars(shown)),
        log_odds=most,
        kind=kind_of(shown.frequency_hz, scene.comb.rotation_hz, scene.flutes, away),
        clues=clues[worst],
    )


def _on_other_comb(tracks: list[Track], strays: Strays, scene: Scene) -> np.ndarray:
    """Which lines another comb explains better; what sounded before the cut bears witness, too."""
    elsewhere = on_other_comb(strays.tracks, scene)
    strange = {id(track) for track in compress(strays.tracks, elsewhere.tolist())}
    return np.array([id(track) in strange for track in tracks])


def _take_back(clues: np.ndarray, related: np.ndarray, strange: np.ndarray, most: float) -> None:
    """Leave out what relatives say that are lines of another comb, or none, where more than a share are."""
    others = related & ~np.eye(len(strange), dtype=bool)
    theirs = (others & strange).sum(axis=1) / np.maximum(others.sum(axis=1), 1)
    theirs[theirs <= most] = 0.0
    for column in FAMILY:
        clues[:, column] -= theirs * np.maximum(clues[:, column], 0.0)


def kind_of(frequency_hz: float, rotation_hz: float, flutes: int | None, tolerance_hz: float) -> str:
    """Tell period doubling (half of tooth passing) from the rest.

    Parameters
    ----------
    frequency_hz, rotation_hz
        Chatter line and rotation frequency.
    flutes
        None where not known.
    tolerance_hz
        How well the two are known together.
    """
    spacing = rotation_hz * (flutes or 1)
    away = abs((frequency_hz / spacing) % 1.0 - 0.5) * spacing
    if away > tolerance_hz:
        return "quasi-periodic"
    return "period-doubling" if flutes else "unclassified"
