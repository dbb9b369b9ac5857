"""Following the rotation frequency near a speed that is roughly known."""

import math

import numpy as np

from shopmon.listening.intake.front import Window
from shopmon.listening.rotation.way_back import WayBack
from shopmon.listening.state import Memory
from shopmon.signals.comb.fit import CombFit
from shopmon.signals.comb.search import smooth_path_step
from shopmon.signals.comb.spacing import spacing_support
from shopmon.signals.lines import LineMap

REACH = 0.035
STEP = 5e-4
DECAY = 0.9
MOVE_PRICE_DB = 0.35
MOVE_REACH = 6
PLATEAU_DB = 0.6
RECENTRE = 0.4
USUAL_FORGET, FADE = 0.05, 0.01
SEEN_FORGET, NEW_DB = 0.1, 4.0
FALLEN, RISEN, LEAST_USUAL = 0.6, 0.4, 2.0
FALLEN_HOPS, JUMP_HOPS = 2, 3
GONE, GONE_FOR_HOPS = 0.2, 40
JUMP_REACH, JUMP_STEP, JUMP_SPREAD = 0.35, 1.5e-3, 8e-4
JUMP_LEAST, JUMP_SAME = 0.03, 0.012
SUPPORT_DB, SUPPORT_FORGET, BESIDE_EVERY = 4.0, 0.36, 2
ELSEWHERE, HERE_SHARE, DOUBTED_SHARE = 1.0, 0.3, 0.4
DROOP, RUNS_UP, HOLD_WITHIN, HOLD_DB = 0.025, 0.005, 0.01, 1.5
JUMP_DECAY, JUMP_MOVE, JUMP_MOVE_PRICE_DB = 0.6, 6, 0.1


class SpeedTracker(Memory):
    """Comb likelihood over a grid of speeds, carried along smooth paths in time.

    The number on the display is a start, not a truth: slip, override and drift move the speed by up to 3 %.
    Once the comb is found there, the grid goes along with it. When the comb vanishes from where it was and
    stands up elsewhere at once, the speed was stepped.
    """

    kept = ("centre_hz", "flutes", "path", "rotation_hz", "slope", "jitter", "hops", "support", "beside_db",
            "doubted", "usual", "fallen", "gone_hops", "seen_db", "jump", "jump_hz",
            "jump_agreed")  # fmt: skip

    def __init__(self):
        self._fit: CombFit | None = None
        self._fit_of: tuple | None = None
        self._wide: CombFit | None = None
        self._wide_of: tuple | None = None
        self.way_back = WayBack()
        self.aim(None, None)

    def snapshot(self) -> dict:
        """Return the memory with that of the speed that was left."""
        return {**super().snapshot(), "way_back": self.way_back.snapshot()}

    def restore(self, data: dict) -> None:
        """Take up a memory; one of before there was a way back has none, nor does it count what is gone."""
        super().restore({"gone_hops": 0, **data})
        self.way_back.restore(data.get("way_back", WayBack().snapshot()))

    def aim(self, centre_hz: float | None, flutes: int | None) -> None:
        """Follow the speed near `centre_hz` from now on, or none."""
        self.centre_hz = centre_hz
        self.flutes = flutes
        self.path = np.zeros(0, dtype=np.float32)
        self.rotation_hz: float | None = None
        self.slope = 0.0
        self.jitter = 0.0
        self.hops = 0
        self.support = 0.0
        self.beside_db = np.zeros(0, dtype=np.float32)
        self.doubted = False
        self.usual = 0.0
        self.seen_db = np.zeros(0, dtype=np.float32)
        self.way_back.leave(None, 0.0)
        self._forget_jump()

    def _forget_jump(self) -> None:
        self.fallen = self.gone_hops = 0
        self.jump = np.zeros(0, dtype=np.float32)
        self.jump_hz: float | None = None
        self.jump_agreed = 0

    def clear(self) -> None:
        """Forget the path, not where to look."""
        self.aim(self.centre_hz, self.flutes)

    def _aimed_fit(self, window: Window) -> CombFit:
        wanted = (self.centre_hz, self.flutes, window.bins, window.bin_hz)
        if self._fit_of != wanted:
            self._fit = CombFit(_around(self.centre_hz, REACH, STEP), window.bin_hz, window.bins, self.flutes)
            self._fit_of = wanted
        return self._fit

    def follow(
        self,
        lines: LineMap,
        window: Window,
        new: tuple[np.ndarray, np.ndarray] | None = None,
        turned_hz: float | None = None,
    ) -> float | None:
        """Take one spectrum's lines and return the rotation frequency in Hz, None while nothing is aimed at.

        Parameters
        ----------
        lines
            Of the spectrum.
        window
            The spectrum's window.
        new
            Frequencies and heights of the strongest lines that were not there before; None: not known.
        turned_hz
            Rotation heard before the rise: a cut slows the spindle by a little and no more.
        """
        if self.centre_hz is None:
            return None
        fit = self._aimed_fit(window)
        scores = fit(lines)
        if self.path.size != scores.size:
            self.path = np.zeros_like(scores)
        gain = scores
        if new is None:
            self.support, self.doubted = 0.0, False
        else:
            # lines that step by the rotation say much the same in the next hop
            if self.hops % BESIDE_EVERY == 0 or self.beside_db.size != scores.size:
                self.beside_db = self._beside_the_comb(fit, new, window, turned_hz)
                self.doubted = self._stands_elsewhere(scores)
            gain = (DOUBTED_SHARE * scores if self.doubted else scores) + self.beside_db
        self.path = np.float32(DECAY) * smooth_path_step(self.path, MOVE_REACH, MOVE_PRICE_DB) + gain
        peak = int(self.path.argmax())
        self._move_to(self._best(fit, peak))
        self.hops += 1
        now = float(scores[max(0, peak - 2) :][:5].max())  # a bit off is no miss
        gone = self.usual >= LEAST_USUAL and now < GONE * self.usual
        self.gone_hops = self.gone_hops + 1 if gone else 0
        back_hz = self.way_back.look(lines, window, self.flutes)
        if back_hz is not None:
            self._go_to(back_hz)
        elif self._stands(now):
            self._see(lines)
            self._recentre(now)
        elif self.fallen > FALLEN_HOPS:
            self._watch_jump(lines, window)
        return self.rotation_hz

    def take(self, rotation_hz: float) -> None:
        """Take over a rotation that was measured, and be aimed at it for when that ends."""
        if self.centre_hz is None or abs(rotation_hz / self.centre_hz - 1) > STEP:
            before = (self.rotation_hz, self.slope, self.jitter, self.hops)
            self.aim(rotation_hz, self.flutes)
            self.rotation_hz, self.slope, self.jitter, self.hops = before
        self.support = 0.0
        self.hops += 1
        self._move_to(rotation_hz)

    def _beside_the_comb(self, fit: CombFit, new, window: Window, turned_hz: float | None) -> np.ndarray:
        """What the steps between the lines that ring, and the speed before the cut, say; in dB."""
        support = spacing_support(fit.candidates_hz, self.flutes, *new, window.duration_s)
        at = support[max(0, int(self.path.argmax()) - 3) :][:7].max()
        self.support += SUPPORT_FORGET * (float(at) - self.support)
        gain = SUPPORT_DB * support
        if turned_hz is not None:
            change = fit.candidates_hz / turned_hz - 1
            beyond = np.maximum(change - RUNS_UP, -DROOP - change) / HOLD_WITHIN
            gain -= HOLD_DB * np.minimum(np.maximum(beyond, 0.0), 1.0)
        return gain.astype(np.float32)

    def _stands_elsewhere(self, scores: np.ndarray) -> bool:
        """Whether the best comb is not that by which the ringing steps: a neighbour's, close by."""
        best = int(scores.argmax())
        here = float(self.beside_db[max(0, best - 3) : best + 4].max())
        most = float(self.beside_db.max())
        return most > SUPPORT_DB * ELSEWHERE and here < HERE_SHARE * most

    def _move_to(self, rotation_hz: float) -> None:
        before, self.rotation_hz = self.rotation_hz, rotation_hz
        if before is not None:
            change = rotation_hz / before - 1
            self.slope += 0.2 * (change - self.slope)
            self.jitter += 0.1 * (abs(change) - self.jitter)

    def _best(self, fit: CombFit, peak: int) -> float:
        """Centre of the plateau of best candidates: several score alike."""
        least = float(self.path[peak]) - PLATEAU_DB
        start = max(0, peak - 6)
        weights = np.maximum(self.path[start : peak + 7].astype(np.float64) - least, 0.0)
        return float(fit.candidates_hz[start : peak + 7] @ weights / np.add.reduce(weights))

    def _recentre(self, now: float) -> None:
        """Let the grid go along with a comb that is heard well."""
        away = round(math.log(self.rotation_hz / self.centre_hz) / STEP)
        if abs(away) * STEP < RECENTRE * REACH or now < max(LEAST_USUAL, FALLEN * self.usual):
            return
        self.centre_hz *= math.exp(STEP * away)
        self.beside_db = np.zeros(0, dtype=np.float32)
        moved = np.full_like(self.path, self.path.min())
        if away > 0:
            moved[:-away] = self.path[away:]
        else:
            moved[-away:] = self.path[:away]
        self.path = moved

    @property
    def adrift(self) -> bool:
        """The comb has just gone from where it stood: the spindle is on its way to another speed.

        Its lines are then on no multiple of the rotation that is followed, and in steps of one.
        """
        return 0 < self.gone_hops < GONE_FOR_HOPS

    def _stands(self, now: float) -> bool:
        """Whether the comb still fits about as well as it used to; learn how well that is."""
        if self.usual >= LEAST_USUAL and now < FALLEN * self.usual:
            self.fallen += 1
            self.usual *= 1 - FADE
            return False
        self.usual += USUAL_FORGET * (now - self.usual)
        if self.fallen:
            self._forget_jump()
        return True

    def _see(self, lines: LineMap) -> None:
        """Remember how high every line has stood: what was there before is no comb that has just appeared."""
        if self.seen_db.size != lines.height_db.size:
            self.seen_db = lines.height_db.copy()
        moved = lines.height_db - self.seen_db
        moved *= np.float32(SEEN_FORGET)
        self.seen_db += moved

    def _watch_jump(self, lines: LineMap, window: Window) -> None:
        """Look far around with what is new; go where it fits as well as the comb used to."""
        fit = self._wide_fit(window)
        scores = fit(self._new_lines(lines))
        if self.jump.size != scores.size:
            self.jump = np.zeros_like(scores)
        moved = smooth_path_step(self.jump, JUMP_MOVE, JUMP_MOVE_PRICE_DB)
        self.jump = np.float32(JUMP_DECAY) * moved + scores
        best = int(np.argmax(self.jump))
        found_hz = float(fit.candidates_hz[best])
        good = float(self.jump[best]) * (1 - JUMP_DECAY) > RISEN * self.usual
        elsewhere = abs(found_hz / self.rotation_hz - 1) > JUMP_LEAST
        same = self.jump_hz is not None and abs(found_hz / self.jump_hz - 1) < JUMP_SAME
        self.jump_agreed = self.jump_agreed + 1 if same and good and elsewhere else 0
        self.jump_hz = found_hz
        if self.jump_agreed >= JUMP_HOPS:
            left_hz = self.rotation_hz
            self._go_to(found_hz)
            self.way_back.leave(left_hz, self.usual)

    def _go_to(self, rotation_hz: float) -> None:
        """Follow another comb from now on, which is to be as good as the one so far."""
        usual = self.usual
        self.aim(rotation_hz, self.flutes)
        self.rotation_hz, self.usual = rotation_hz, usual

    def _new_lines(self, lines: LineMap) -> LineMap:
        if self.seen_db.size != lines.height_db.size:
            return lines
        new = lines.height_db > self.seen_db + NEW_DB
        return LineMap(position=lines.position, height_db=np.where(new, lines.height_db, 0))

    def _wide_fit(self, window: Window) -> CombFit:
        wanted = (self.centre_hz, self.flutes, window.bins, window.bin_hz)
        if self._wide_of != wanted:
            candidates = _around(self.centre_hz, JUMP_REACH, JUMP_STEP)
            self._wide = CombFit(candidates, window.bin_hz, window.bins, self.flutes, JUMP_SPREAD)
            self._wide_of = wanted
        return self._wide


def _around(centre_hz: float, reach: float, step: float) -> np.ndarray:
    half = round(reach / step)
    return centre_hz * np.exp(step * np.arange(-half, half + 1))
