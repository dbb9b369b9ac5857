"""Finding the rotation frequency from nothing."""

import numpy as np

from shopmon.listening.intake.front import Window
from shopmon.listening.state import Memory
from shopmon.signals.comb.search import smooth_path_step
from shopmon.signals.comb.spacing import strongest
from shopmon.signals.comb.votes import HIGHEST_HZ, CombVotes
from shopmon.signals.lines import find_lines

WINDOW_S = 0.8
EVERY_HOPS = 4
DECAY = 0.8
MOVE, MOVE_PRICE = 2, 0.05
ROUNDS = 3
SAME = 0.004
LEAST_SCORE = 0.35
RIVAL_SHARE = 0.75
UNBELIEVED_SHARE, BELIEVED_SHARE = 0.2, 0.4
TOLD_OFF = 0.025
RELATED = 0.012
DENSER = (0.2, 0.4)
RATIOS = (0.25, 1 / 3, 0.5, 2 / 3, 1.5, 2.0, 3.0, 4.0)
BETTER = 1.3
NEAR = 6
BACKGROUND_FORGET = 0.15
NEW_DB, LEAST_DB = 4.0, 4.0
HIDDEN_SHARE, SPACING_WORTH = 0.3, 0.6
HEARD_WELL, HEARD_SHARE, MOST_TEETH = 0.6, 0.75, 7
DROOP_STEPS = 24
DROOP_BY = range(0, DROOP_STEPS + 1, 2)
MAINS_HZ, MAINS_TOP_HZ = (50.0, 60.0), 1100.0
MAINS_OFF_HZ, MAINS_OFF_SHARE = 0.15, 1.5e-3


class SpeedSearch(Memory):
    """Scores all speeds between two bounds a few times a second until one stands out.

    In a cut only what has risen over the sound before it counts, so that hum and neighbours buy no comb;
    while nothing has risen, multiples of the mains count for nothing.

    Parameters
    ----------
    rate_hz
        Analysis rate.
    lowest_hz, highest_hz
        Bounds of the rotation frequency.
    """

    kept = ("path", "before", "best_hz", "agreed", "flutes", "background_db", "by_comb")

    def __init__(self, rate_hz: float, lowest_hz: float, highest_hz: float):
        self._rate_hz = rate_hz
        self._bounds = (lowest_hz, min(highest_hz, rate_hz / 6))
        self._votes: CombVotes | None = None
        self._votes_flutes: int | None = None
        self._window: Window | None = None
        self.background_db = np.zeros(0, dtype=np.float32)
        self.clear(None)

    @property
    def highest_hz(self) -> float:
        """Fastest rotation that is looked for."""
        return self._bounds[1]

    def clear(self, flutes: int | None) -> None:
        """Start again; what the sound before a cut is like stays known."""
        self.path = np.zeros(0, dtype=np.float32)
        self.before = np.zeros(0, dtype=np.float32)
        self.agreed = 0
        self.by_comb = True
        self.best_hz: float | None = None
        self.flutes = flutes

    def look_anew(self) -> None:
        """The speed has stepped: looks at the old one say nothing of the new."""
        self.path = np.zeros(0, dtype=np.float32)
        self.agreed = 0

    def begin(self) -> None:
        """Weigh anew: the sound has risen. What was heard before stays known, slowed by a little."""
        heard = np.pad(np.maximum(self.path, 0.0), (0, DROOP_STEPS))
        self.before = np.maximum.reduce([heard[by : self.path.size + by] for by in DROOP_BY])
        self.look_anew()

    @property
    def standing_hz(self) -> float | None:
        """The best of the looks so far where it is good enough, agreed or not."""
        if not self.path.size:
            return None
        # that is where the path is highest
        best = float(self.path[self._prepared().index(self.best_hz)])
        return self.best_hz if best > LEAST_SCORE else None

    def drop(self) -> None:
        """Forget the sound before the cut."""
        self.background_db = np.zeros(0, dtype=np.float32)

    @property
    def window(self) -> Window:
        """The search's own, longer window."""
        if self._window is None:
            self._window = Window(self._rate_hz, WINDOW_S)
        return self._window

    def _prepared(self) -> CombVotes:
        if self._votes is None or self._votes_flutes != self.flutes:
            self._votes, self._votes_flutes = CombVotes(*self._bounds, self.flutes), self.flutes
        return self._votes

    def look(self, spectrum_db: np.ndarray, risen: bool) -> float | None:
        """Take a spectrum; return a rotation frequency once one has stood out for a while.

        Parameters
        ----------
        spectrum_db
            Of `window`.
        risen
            The sound has risen over the background.
        """
        votes = self._prepared()
        frequency_hz, height_db, known = self._lines(spectrum_db, risen)
        scores = comb = votes(frequency_hz, height_db, known)
        if risen:
            # either the comb is heard, or ringing hides it and steps by it
            spacing = votes.of_spacing(*strongest(frequency_hz, height_db))
            scores = np.maximum(scores, HIDDEN_SHARE * scores + SPACING_WORTH * spacing)
        if self.path.size != scores.size:
            self.path = scores.copy()
        else:
            moved = smooth_path_step(self.path, MOVE, MOVE_PRICE)
            self.path = np.float32(DECAY) * moved + scores * np.float32(1 - DECAY)
        best = int(np.argmax(self.path))
        found = float(votes.candidates_hz[best])
        same = self.best_hz is not None and abs(found / self.best_hz - 1) < SAME
        good = float(self.path[best]) > LEAST_SCORE
        self.agreed = self.agreed + 1 if same and good else 0
        self.best_hz = found
        self.by_comb = self._near(comb, found) > LEAST_SCORE
        return found if self.agreed >= ROUNDS else None

    def _lines(self, spectrum_db: np.ndarray, risen: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Lines that may belong to the spindle: frequency, height, and whether something else makes them."""
        window = self.window
        top = min(int(HIGHEST_HZ / window.bin_hz), window.bins - 2)
        floor_db = window.floor(spectrum_db)
        above_floor_db = spectrum_db[:top] - floor_db[:top]
        lines = find_lines(spectrum_db, floor_db, above_floor_db, window.read_lines, LEAST_DB)
        peaks, height_db, frequency_hz = lines.bins, lines.height_db, lines.place * window.bin_hz
        if risen and self.background_db.size:
            before = self.background_db
            before = np.maximum(np.maximum(before[peaks - 1], before[peaks + 1]), before[peaks])
            height_db = np.minimum(height_db, lines.level_db - before)
            known = height_db < NEW_DB
        else:
            known = _mains(frequency_hz)
        if not risen:
            self._learn(spectrum_db[: top + 2])
        use = frequency_hz > self._bounds[0]
        return frequency_hz[use], height_db[use], known[use]

    def _learn(self, spectrum_db: np.ndarray) -> None:
        if self.background_db.size != spectrum_db.size:
            self.background_db = spectrum_db.astype(np.float32)
        self.background_db += np.float32(BACKGROUND_FORGET) * (spectrum_db - self.background_db)

    def rivals_hz(self, chosen_hz: float) -> list[float]:
        """Other frequencies in a simple ratio to the chosen one that explain the sound almost as well."""
        if not self.path.size or self.path.max() <= 0:
            return []
        low, high = self._bounds
        limit = RIVAL_SHARE * self._score_near(chosen_hz)
        tried = [chosen_hz * ratio for ratio in RATIOS if low <= chosen_hz * ratio <= high]
        return [hz for hz in tried if self._score_near(hz) > max(limit, LEAST_SCORE)]

    def contradicts(self, told_hz: float, found_hz: float) -> bool:
        """Whether the speed found makes the told one hard to believe.

        Simple ratios do not count, nor one or two fifths: such a comb is dense, shares many lines with the
        told one, and takes the others from whatever else sounds.

        Parameters
        ----------
        told_hz
            Rotation frequency as told and followed.
        found_hz
            What `look` has found.
        """
        ratio = found_hz / told_hz
        related = min(abs(ratio / simple - 1) for simple in (1.0, *RATIOS, *DENSER)) < RELATED
        return not related and self._score_near(told_hz) < UNBELIEVED_SHARE * self._score_near(found_hz)

    def believable(self, told_hz: float) -> bool:
        """Whether a speed that was told and not heard is heard after all, though another may be louder.

        Told speeds are off by some percent.
        """
        votes = self._prepared()
        ends = (votes.index(told_hz * (1 + off)) for off in (-TOLD_OFF, TOLD_OFF))
        near = float(self.path[slice(*ends)].max(initial=-99.0))
        return near > max(LEAST_SCORE, BELIEVED_SHARE * float(self.path.max()))

    def is_told(self, told_hz: float, found_hz: float) -> bool:
        """Whether what is found is the told speed, or its tooth passing."""
        ratio = found_hz / told_hz
        times = {1, 2, 3, 4, self.flutes or 1}
        return any(abs(ratio / each - 1) < TOLD_OFF for each in times)

    def better(self, followed_hz: float, found_hz: float) -> bool:
        """Whether a speed found is clearly better than the one that was found before and is followed."""
        return self._score_near(found_hz) > BETTER * self._score_near(followed_hz)

    def is_simple(self, followed_hz: float, found_hz: float) -> bool:
        """Whether one of two speeds is a small multiple of the other."""
        ratio = max(found_hz / followed_hz, followed_hz / found_hz)
        return 1.5 < ratio < MOST_TEETH + 0.5 and abs(ratio / round(ratio) - 1) < RELATED

    def refuted(self, followed_hz: float, found_hz: float) -> bool:
        """Whether a speed found in a cut is a part or a multiple of one that was heard better before."""
        before = self._near(self.before, followed_hz)
        worse = self._near(self.before, found_hz) < HEARD_SHARE * before
        return self.is_simple(followed_hz, found_hz) and before > HEARD_WELL and worse

    def _score_near(self, frequency_hz: float) -> float:
        return self._near(self.path, frequency_hz)

    def _near(self, scores: np.ndarray, frequency_hz: float) -> float:
        index = self._prepared().index(frequency_hz)
        near = scores[max(0, index - NEAR) : max(0, index + NEAR + 1)]
        return float(near.max()) if near.size else -99.0


def _mains(frequency_hz: np.ndarray) -> np.ndarray:
    """Whether lines are multiples of the mains frequency."""
    off = np.min([np.abs(frequency_hz - hz * np.rint(frequency_hz / hz)) for hz in MAINS_HZ], axis=0)
    return (off < MAINS_OFF_HZ + MAINS_OFF_SHARE * frequency_hz) & (frequency_hz < MAINS_TOP_HZ)
