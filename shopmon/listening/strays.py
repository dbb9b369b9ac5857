"""Lines that belong to no comb: weighed at once against the comb, the local floor and the background."""

from dataclasses import dataclass, field

import numpy as np

from shopmon.listening.comb_view import CombView
from shopmon.listening.events import StrayTone
from shopmon.listening.front import View, Window
from shopmon.listening.preferences import REJECTED_DB
from shopmon.listening.scene import Scene
from shopmon.listening.state import Memory, decode, encode

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
FOLLOWED_DB = -5.0
UNKNOWN_DB = 37.0
MOST_LINES = 24
MOST_TRACKS = 16
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
    view, window, comb = scene.view, scene.window, scene.comb
    peaks = _peaks(view, window)
    skirt = view.spectrum_db[peaks] - comb.skirts_db(peaks * window.bin_hz, scene.doubt)
    peaks, skirt = peaks[skirt > 0], skirt[skirt > 0]
    keep = np.argsort(-view.above_floor_db[peaks], kind="stable")[:MOST_LINES]
    peaks, skirt = peaks[keep], skirt[keep]
    places, levels = window.read_lines(view.spectrum_db, peaks)
    above_floor = view.above_floor_db[peaks]
    known = scene.background.around_db[peaks] if scene.compared else levels - UNKNOWN_DB
    stood = scene.background.height_db(window)[peaks] if scene.compared else above_floor - UNKNOWN_DB
    near_comb = _near_comb_db(peaks * window.bin_hz, comb)
    over = np.stack([above_floor, levels - known, above_floor - stood, levels - near_comb, skirt])
    wanted = scene.preferences
    if wanted.heeded_hz:
        over[1:3, wanted.is_heeded(peaks * window.bin_hz)] = UNKNOWN_DB
    margin = _margin_db(over)
    if wanted.rejected:
        margin[wanted.is_rejected(places * window.bin_hz, comb.rotation_hz)] = REJECTED_DB
    order = np.argsort(-levels, kind="stable")
    return Lines(
        frequency_hz=(places * window.bin_hz)[order],
        level_db=levels[order],
        over_db=over[:, order].astype(np.float64),
        margin_db=margin[order].astype(np.float64),
    )


def _margin_db(over_db: np.ndarray) -> np.ndarray:
    """Least of the margins; of the two over the background the greater: gain control moves all lines."""
    floor, before, grown, comb, skirt = over_db - NEEDED_DB[:, None]
    return np.minimum(np.minimum(floor, np.maximum(before, grown)), np.minimum(comb, skirt))


def _peaks(view: View, window: Window) -> np.ndarray:
    """Bins of the local maxima that stand out of the floor, within the band that is looked at."""
    first, last = int(LOWEST_HZ / window.bin_hz), int(HIGHEST_SHARE * window.size)
    inner = view.spectrum_db[first:last]
    peak = (inner[1:-1] > inner[:-2]) & (inner[1:-1] >= inner[2:])
    peak &= view.above_floor_db[first + 1 : last - 1] > FLOOR_DB - 3.0
    return np.flatnonzero(peak) + first + 1


def _near_comb_db(frequency_hz: np.ndarray, comb: CombView) -> np.ndarray:
    """Strongest comb line within an octave to either side: at low speed the lowest lines dwarf everything."""
    lines_hz = comb.rotation_hz * np.arange(1, comb.lines_db.size + 1)
    ratio = lines_hz[None, :] / frequency_hz[:, None]
    near = np.where((ratio > 0.5) & (ratio < 2.0), comb.lines_db[None, :], -np.inf)
    best = near.max(axis=1) if near.size else np.zeros(0)
    return np.where(np.isfinite(best), best, comb.strongest_db)


@dataclass(kw_only=True)
class Track:
    """One line followed over time.

    ``hits`` and ``misses`` count hops; ``power`` is the running mean of the line's power.
    """

    frequency_hz: float
    power: float
    margin_db: float
    since_sample: int
    hits: int = 1
    misses: int = 0
    above_comb_db: float = 0.0
    over_db: np.ndarray = field(default_factory=lambda: NEEDED_DB.copy())

    @property
    def level_db(self) -> float:
        """Level of the line in dB."""
        return float(10 * np.log10(max(self.power, 1e-20)))


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
        free = [i for i in range(lines.level_db.size) if lines.margin_db[i] > FOLLOWED_DB]
        for track in self.tracks:
            reach = max(1.2 / scene.window.duration_s, 0.002 * track.frequency_hz)
            near = [i for i in free if abs(lines.frequency_hz[i] - track.frequency_hz) <= reach]
            if near:
                best = min(near, key=lambda i: abs(lines.frequency_hz[i] - track.frequency_hz))
                free.remove(best)
                self._extend(track, lines, best, scene)
            else:
                track.misses += 1
                track.margin_db += 0.3 * (-3.0 - track.margin_db)
                track.over_db = track.over_db + 0.3 * (NEEDED_DB - 3.0 - track.over_db)
        self.tracks = [track for track in self.tracks if track.misses < DROP_HOPS]
        for i in free[: max(0, MOST_TRACKS - len(self.tracks))]:
            self.tracks.append(_new_track(lines, i, scene))
        self.tracks.sort(key=lambda track: (-track.power, track.frequency_hz))

    def _extend(self, track: Track, lines: Lines, i: int, scene: Scene) -> None:
        track.hits += 1
        track.misses = 0
        share = max(1.0 / track.hits, 0.08)
        level = float(lines.level_db[i])
        # while the window fills, a new line rises: do not average over that
        share = 1.0 if track.hits <= 8 and level > track.level_db + 1.0 else share
        moved = float(lines.frequency_hz[i]) - track.frequency_hz
        track.frequency_hz += share * moved
        track.power += share * (10.0 ** (level / 10) - track.power)
        if track.margin_db <= 0:
            track.since_sample = scene.view.sample
        track.margin_db += 0.5 * (float(lines.margin_db[i]) - track.margin_db)
        track.over_db = track.over_db + 0.5 * (lines.over_db[:, i] - track.over_db)
        track.above_comb_db = level - scene.comb.strongest_db

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


def _new_track(lines: Lines, i: int, scene: Scene) -> Track:
    return Track(
        frequency_hz=float(lines.frequency_hz[i]),
        power=float(10.0 ** (lines.level_db[i] / 10)),
        margin_db=float(lines.margin_db[i]),
        over_db=lines.over_db[:, i].copy(),
        since_sample=scene.view.sample,
        above_comb_db=float(lines.level_db[i]) - scene.comb.strongest_db,
    )


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
