"""When a cut is over though something else sounds on: the level fell, and what the spindle adds with it."""

from collections.abc import Callable

from shopmon.listening.state import Memory

FORGET, FORGET_SCORE, EVERY_HOPS = 0.15, 0.6, 10
SCORE_RANGE = (-4.0, 20.0)
TELLING, SHARE, LEAST = 3.0, 0.3, 1.0
FALL_DB, PLUNGE_DB = 2.0, 6.0
HOPS = 6


class Waning(Memory):
    """Follows level and score of an engagement and counts the hops since both fell.

    Attributes
    ----------
    hops
        For how many hops they have been down.
    level_db, score
        What they usually were in this engagement; the level is None before the first hop.
    """

    kept = ("hops", "level_db", "score", "unasked")

    def __init__(self):
        self.begin()

    def begin(self) -> None:
        """A tooth has met metal."""
        self.hops = 0
        self.level_db: float | None = None
        self.score = 0.0
        self.unasked = EVERY_HOPS

    def over(self, level_db: float, ask: Callable[[], float | None], ringing: bool) -> bool:
        """Take in a hop; return whether the cut is over.

        Parameters
        ----------
        level_db
            How far the sound lies above the background.
        ask
            What the newest sound says for a cut, see `burst`; None: nothing. It costs a spectrum, so
            it is asked every hop only while the level is down.
        ringing
            Chatter is heard: a fall is no end then unless it is deep.
        """
        if self.level_db is None:
            self.level_db = level_db
        fell_db = self.level_db - level_db
        self.unasked += 1
        score = None
        if fell_db > FALL_DB or self.unasked >= EVERY_HOPS:
            score, self.unasked = ask(), 0
        if score is not None and self._down(fell_db, score, ringing):
            self.hops += 1
            return self.hops >= HOPS
        self.hops = 0
        self.level_db += FORGET * (level_db - self.level_db)
        if score is not None:
            self.score += FORGET_SCORE * (min(max(score, SCORE_RANGE[0]), SCORE_RANGE[1]) - self.score)
        return False

    def _down(self, fell_db: float, score: float, ringing: bool) -> bool:
        if fell_db > PLUNGE_DB:
            return score < max(SHARE * self.score, LEAST)
        # a shallow fall tells only where the comb was heard so far
        return not ringing and self.score > TELLING and fell_db > FALL_DB and score < SHARE * self.score
