"""Lines that belong to no comb: weighed at once against the comb, the local floor and the background."""

import math
from dataclasses import dataclass, field

import numpy as np

from shopmon.listening.events import StrayTone
from shopmon.listening.preferences import REJECTED_DB
from shopmon.listening.rotation.comb_view import CombView
from shopmon.listening.scene import Scene
from shopmon.listening.state import Memory, decode, encode
from shopmon.signals.spectra import far_skirt_db

LOWEST_HZ = 25.0
HIGHEST_SHARE = 0.42
OVER = (
    "floor",
    "background",
    "background, each over its own floor",
    "comb nearby",
    "nearest comb line's skirt",
)
FLOOR_DB = 11.0
NEEDED_DB = np.array([FLOOR_DB, 7.0, 7.0, -16.0, 8.0])
NEEDED_COLUMN_DB = NEEDED_DB[:, None]
FAINT_DB = (NEEDED_DB - 3.0).tolist()
FOLLOWED_DB = -5.0
RISING = 10**0.1
NONE = np.array([-np.inf])
UNKNOWN_DB = 37.0
MOST_LINES = 24
MOST_TRACKS = 16
SKIRT_FROM = 1.7  # of a window's width
SKIRT_ROOM_DB = 3.0
# what sways in pitch and height has companions beside it, weaker than itself, whatever the window
OVERTONE_DB = -10.0
SWAY_DB, SWAY_HZ, SWAY_SHARE = -6.0, 25.0, 0.02
DROP_HOPS = 6
STEADY_HOPS = 4
SHOWN_OVER_COMB_DB = -16.0
SHOWN_UNDER_STRONGEST_DB = 12.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Lines:
    """Lines of one spectrum that may be stray, strongest first; all arrays of shape ``(lines,)``.

    Attributes
    ----------
    frequency_hz, level_db
        Read between the bins.
    over_db
        Heights over the references of `OVER`, shape ``(len(OVER), lines)``.
    margin_db
        The least of the heights less what each must be: above 0 the line is stray.
    """

    frequency_hz: np.ndarray
    level_db: np.ndarray
    over_db: np.ndarray
    margin_db: np.ndarray


def find_lines(scene: Scene) -> Lines:
    """Weigh the strongest lines of a spectrum; without a known background that reference is left out."""
    view, window, comb, wanted = scene.view, scene.window, scene.comb, scene.preferences
    chosen, skirt = _chosen(scene)
    peaks, levels = view.lines.bins[chosen], view.lines.level_db[chosen]
    binned_hz = peaks * window.bin_hz
    over = np.empty((len(OVER), peaks.size))
    over[0] = view.above_floor_db[peaks]
    if scene.compared:
        over[1] = levels - scene.background.around_db[peaks]
        over[2] = over[0] - scene.background.height_db(window)[peaks]
    else:
        over[1:3] = UNKNOWN_DB
    over[3] = levels - _near_comb_db(binned_hz, comb)
    over[4] = skirt
    if wanted.heeded_hz:
        over[1:3, wanted.is_heeded(binned_hz)] = UNKNOWN_DB
    frequency_hz, margin = view.lines.place[chosen] * window.bin_hz, _margin_db(over)
    if wanted.rejected:
        margin[_rejected(scene, frequency_hz, levels)] = REJECTED_DB
    return Lines(frequency_hz=frequency_hz, level_db=levels, over_db=over, margin_db=margin)


def _chosen(scene: Scene) -> tuple[np.ndarray, np.ndarray]:
    """Which of the lines within the band stand highest above the floor, and how far above any skirt.

    Strongest first.
    """
    lines, window = scene.view.lines, scene.window
    bins = lines.bins
    first, last = bins.searchsorted(
        (int(LOWEST_HZ / window.bin_hz) + 1, int(HIGHEST_SHARE * window.size) - 1)
    )
    height = scene.view.above_floor_db[bins[first:last]]
    high = (height > FLOOR_DB - 3.0).nonzero()[0]
    peaks = bins[first:last][high]
    skirt = scene.view.spectrum_db[peaks] - scene.comb.skirts_db(peaks * window.bin_hz, scene.doubt)
    clear = (skirt > 0).nonzero()[0]
    if clear.size > MOST_LINES:
        clear = clear[(-height[high[clear]]).argsort(kind="stable")[:MOST_LINES]]
    chosen = first + high[clear]
    order = (-lines.level_db[chosen]).argsort(kind="stable")
    return chosen[order], skirt[clear[order]]


def _rejected(scene: Scene, frequency_hz: np.ndarray, levels_db: np.ndarray) -> np.ndarray:
    """Tell which lines a person rejected, and which are no more than a skirt or an overtone of those."""
    rotation_hz = scene.comb.rotation_hz
    rejected = scene.preferences.is_rejected(frequency_hz, rotation_hz)
    if not rejected.any():
        return rejected
    weaker = levels_db <= levels_db[rejected].max() + OVERTONE_DB
    rejected |= weaker & scene.preferences.is_overtone_of_rejected(frequency_hz, rotation_hz)
    away_hz = np.abs(frequency_hz[:, None] - frequency_hz[rejected])
    skirts_db = far_skirt_db(np.maximum(away_hz * scene.window.duration_s, SKIRT_FROM)) + SKIRT_ROOM_DB
    swaying = away_hz <= np.maximum(SWAY_HZ, SWAY_SHARE * frequency_hz[rejected])
    skirts_db = levels_db[rejected] + np.where(swaying, SWAY_DB, skirts_db)
    return rejected | (levels_db <= skirts_db.max(axis=1))


def _margin_db(over_db: np.ndarray) -> np.ndarray:
    """Least of the margins; of the two over the background the greater: gain control moves all lines."""
    floor, before, grown, comb, skirt = over_db - NEEDED_COLUMN_DB
    return np.minimum(np.minimum(floor, np.maximum(before, grown)), np.minimum(comb, skirt))


def _near_comb_db(frequency_hz: np.ndarray, comb: CombView) -> np.ndarray:
    """Strongest comb line within an octave to either side: at low speed the lowest lines dwarf everything."""
    if not frequency_hz.size:
        return frequency_hz
    count = comb.lines_db.size
    halves = (frequency_hz * (2.0 / comb.rotation_hz)).astype(np.intp)
    # pairs of bounds, and something behind the last line, as reduceat wants it
    bounds = np.empty((halves.size, 2), dtype=np.intp)
    first, stop = bounds[:, 0], bounds[:, 1]
    np.minimum(halves >> 2, count, out=first)
    np.minimum(halves, count, out=stop)
    best = np.maximum.reduceat(np.concatenate((comb.lines_db, NONE)), bounds.ravel())[::2]
    return np.where(stop > first, best, comb.strongest_db)


@dataclass(kw_only=True)
class Track:
    """One line followed over time.

    ``hits`` and ``misses`` count hops; ``frequency_hz`` and ``power`` are running means, and ``newest_hz`` is
    where the line was found last: lines of a spindle that runs up or down are ahead of their means.
    """

    frequency_hz: float
    newest_hz: float = 0.0
    power: float
    margin_db: float
    since_sample: int
    hits: int = 1
    misses: int = 0
    above_comb_db: float = 0.0
    over_db: list[float] = field(default_factory=NEEDED_DB.tolist)

    @property
    def level_db(self) -> float:
        """Level of the line in dB."""
        return 10 * math.log10(max(self.power, 1e-20))

    def miss(self) -> None:
        """The line was not there in this hop."""
        self.misses += 1
        self.margin_db += 0.3 * (-3.0 - self.margin_db)
        self.over_db = [
            over + 0.3 * (faint - over) for over, faint in zip(self.over_db, FAINT_DB, strict=True)
        ]

    def extend(self, found: dict, sample: int) -> None:
        """The line was found again; `found` as the track's own attributes."""
        self.hits += 1
        self.misses = 0
        share = max(1.0 / self.hits, 0.08)
        # while the window fills, a new line rises: do not average over that
        rising = self.hits <= 8 and found["power"] > RISING * max(self.power, 1e-20)
        share, newest = (1.0, 1.0) if rising else (share, 0.5)
        self.newest_hz = found["newest_hz"]
        self.frequency_hz += share * (found["frequency_hz"] - self.frequency_hz)
        self.power += share * (found["power"] - self.power)
        if self.margin_db <= 0:
            self.since_sample = sample
        self.margin_db += newest * (found["margin_db"] - self.margin_db)
        self.over_db = [
            over + newest * (new - over) for over, new in zip(self.over_db, found["over_db"], strict=True)
        ]
        self.above_comb_db = found["above_comb_db"]


class Strays(Memory):
    """Follows the stray lines from spectrum to spectrum."""

    def __init__(self):
        self.tracks: list[Track] = []

    def clear(self) -> None:
        """Follow nothing."""
        self.tracks = []

    def snapshot(self) -> dict:
        """Return the tracks as plain data."""
        return {"tracks": [encode(vars(track)) for track in self.tracks]}

    def restore(self, data: dict) -> None:
        """Take up tracks."""
        self.tracks = [Track(**decode(track)) for track in data["tracks"]]

    def follow(self, lines: Lines, scene: Scene) -> None:
        """Join the lines of a spectrum to the tracks."""
        free = _found(lines, scene.comb.strongest_db)
        least_hz = 1.2 / scene.window.duration_s
        for track in self.tracks:
            wanted_hz = track.frequency_hz
            near_hz, best = max(least_hz, 0.002 * wanted_hz), None
            for found in free:
                away_hz = abs(found["frequency_hz"] - wanted_hz)
                if away_hz < near_hz or (best is None and away_hz == near_hz):
                    near_hz, best = away_hz, found
            if best is None:
                track.miss()
            else:
                free.remove(best)
                track.extend(best, scene.view.sample)
        self.tracks = [track for track in self.tracks if track.misses < DROP_HOPS]
        for found in free[: max(0, MOST_TRACKS - len(self.tracks))]:
            self.tracks.append(Track(**found, since_sample=scene.view.sample))
        self.tracks.sort(key=lambda track: (-track.power, track.frequency_hz))

    def steady(self) -> list[Track]:
        """Tracks that have lasted, strongest first."""
        return [t for t in self.tracks if t.hits >= STEADY_HOPS and t.misses <= 2 and t.margin_db > 0]

    def tones(
        self, comb: CombView, background_known: bool, onset_sample: int | None
    ) -> tuple[StrayTone, ...]:
        """Return what is worth showing: neither far below the comb nor far below the strongest stray line.

        Parameters
        ----------
        comb
            The spindle comb now.
        background_known
            Whether the sound before the cut is known.
        onset_sample
            Since when a tooth is, or may be, in metal; None when none is.
        """
        steady = [track for track in self.steady() if track.above_comb_db > SHOWN_OVER_COMB_DB]
        if not steady:
            return ()
        limit = steady[0].level_db - SHOWN_UNDER_STRONGEST_DB
        return tuple(
            StrayTone(
                frequency_hz=track.frequency_hz,
                level_db=track.level_db,
                above_comb_db=track.above_comb_db,
                since_sample=track.since_sample,
                why=explain(track, comb.rotation_hz, background_known, onset_sample),
            )
            for track in steady
            if track.level_db > limit
        )


def _found(lines: Lines, comb_db: float) -> list[dict]:
    """What a track takes from each line that may be followed; `comb_db` is the strongest comb line."""
    rows = zip(
        *(part.tolist() for part in (lines.frequency_hz, lines.level_db, lines.margin_db, lines.over_db.T)),
        strict=True,
    )
    return [
        {
            "frequency_hz": frequency_hz,
            "newest_hz": frequency_hz,
            "power": 10.0 ** (level_db / 10),
            "margin_db": margin_db,
            "over_db": over_db,
            "above_comb_db": level_db - comb_db,
        }
        for frequency_hz, level_db, margin_db, over_db in rows
        if margin_db > FOLLOWED_DB
    ]


def explain(track: Track, rotation_hz: float, background_known: bool, onset_sample: int | None) -> str:
    """Say in one sentence why a line is stray."""
    order = track.frequency_hz / rotation_hz
    place = f"at {order:.2f} times the rotation, on no multiple of it"
    if onset_sample is not None and track.since_sample >= onset_sample:
        before = (
            "not heard before the tooth met metal"
            if background_known
            else "the time before the cut is not known"
        )
    else:
        before = "heard without a tooth in metal, so no chatter"
    return f"{place}; {before}."
