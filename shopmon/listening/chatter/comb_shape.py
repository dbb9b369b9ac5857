"""What departs from the comb's usual shape: one rotation line alone, or the whole half-tooth-passing family.

With an even number of flutes, half of tooth passing is a multiple of the rotation, where runout makes a line
anyway: period doubling shows there only as a change of shape (Insperger, Stépán, Bayly, Mann, J. Sound Vib.
262, 2003, 333-345, for the frequencies). So the level of every rotation line is followed in an engagement and
remembered for later cuts at that speed. A depth that grows lifts all lines together and is no departure.
"""

from dataclasses import dataclass

import numpy as np

from shopmon.listening.rotation.comb_view import VISIBLE_DB, CombView
from shopmon.listening.state import Memory

SETTLE_HOPS, LEARN_HOPS = 10, 12
FOLLOW = 0.03
SAME_SPEED = 0.01
MOST_SHAPES = 8
REMEMBER_HOPS = 40
LINE_DB, LINE_REMEMBERED_DB = 11.0, 14.0
NEAR_STRONGEST_DB = 10.0
OTHERS_DB, HELD_SHARE = 5.0, 0.8
LEAST_VISIBLE = 5
GROWN_DB, TOGETHER_DB = 5.0, 8.0
LEAST_FAMILY, GROWN_SHARE = 2, 0.6
LASTING_HOPS, MISSES = 8, 2


@dataclass(frozen=True, kw_only=True)
class Departure:
    """What has departed from the usual shape for a while.

    Attributes
    ----------
    family
        The whole half-tooth-passing family has grown; else one line alone has.
    order
        Order of the strongest line of it, in multiples of the rotation.
    frequency_hz, level_db
        Of that line.
    over_db
        By how much it stands above the usual shape, the growth of the comb as a whole taken out.
    since_sample
        When it began.
    """

    family: bool
    order: int
    frequency_hz: float
    level_db: float
    over_db: float
    since_sample: int


class CombShape(Memory):
    """Knows the comb's usual shape in this engagement and in earlier ones at that speed.

    Attributes
    ----------
    doubling
        The half-tooth-passing family stands out now.
    """

    kept = ("shapes", "rotation_hz", "hops", "usual_db", "remembered", "spoiled", "said", "doubling",
            "what", "lasting", "missed", "since_sample")  # fmt: skip

    def __init__(self):
        self.shapes: list[dict] = []
        self.rotation_hz = 0.0
        self.said: list[str] = []
        self.spoiled = False
        self._begin(0.0, np.zeros(0))

    def _begin(self, rotation_hz: float, lines_db: np.ndarray) -> None:
        self.rotation_hz, self.usual_db = rotation_hz, lines_db.copy()
        self.hops = 0
        self.remembered = False
        self._give_up()

    def _give_up(self) -> None:
        self.what: list = []
        self.lasting = self.missed = 0
        self.since_sample = 0
        self.doubling = False

    def end(self) -> None:
        """The engagement is over: keep for later ones the shape of one that was long and quiet."""
        if self.hops >= REMEMBER_HOPS and not self.spoiled:
            others = [shape for shape in self.shapes if not self._same(shape)]
            mine = {"rotation_hz": self.rotation_hz, "usual_db": self.usual_db}
            self.shapes = [*others, mine][-MOST_SHAPES:]
        self.said = []
        self.spoiled = False
        self._begin(0.0, np.zeros(0))

    def spoil(self) -> None:
        """The cut rings: what the comb looks like meanwhile says nothing of its usual shape."""
        self.spoiled = True
        self._give_up()

    def _same(self, shape: dict) -> bool:
        near = abs(shape["rotation_hz"] / self.rotation_hz - 1) < SAME_SPEED
        return near and abs(shape["usual_db"].size - self.usual_db.size) <= 2

    def look(self, comb: CombView, flutes: int | None, sample: int) -> Departure | None:
        """Take in one hop of an engagement; say once what has departed, when it has lasted.

        Parameters
        ----------
        comb
            The comb now.
        flutes
            None where not known: the family cannot be told then.
        sample
            One past the last sample.
        """
        if not self.hops or abs(comb.rotation_hz / self.rotation_hz - 1) > SAME_SPEED:
            self._begin(comb.rotation_hz, comb.lines_db)
        # the highest orders come and go at the top of the band with the smallest change of speed
        count = min(self.usual_db.size, comb.lines_db.size)
        self.usual_db, lines = self.usual_db[:count], comb.lines_db[:count]
        self.hops += 1
        if self.hops <= SETTLE_HOPS:
            self.usual_db = lines.copy()
            return None
        if self.hops == SETTLE_HOPS + 1:
            self._recall()
        visible = lines - comb.floor_db[:count] > VISIBLE_DB
        moved = lines - self.usual_db
        learning = not self.remembered and self.hops <= SETTLE_HOPS + LEARN_HOPS
        if learning or np.count_nonzero(visible) < LEAST_VISIBLE:
            self.usual_db = self.usual_db + moved / (self.hops - SETTLE_HOPS)
            return None
        return self._weigh(comb, flutes, visible, moved, sample)

    def _recall(self) -> None:
        for shape in self.shapes:
            if self._same(shape):
                size = min(self.usual_db.size, shape["usual_db"].size)
                self.usual_db[:size] = shape["usual_db"][:size]
                self.remembered = True

    def _weigh(self, comb, flutes, visible, moved, sample) -> Departure | None:
        family = _family_grown(comb, flutes, visible, moved)
        gain = _median(moved[visible])
        what = family or self._line_alone(comb, visible, moved - gain)
        if not what:
            self._follow(moved, gain)
        same = what and (not self.what or what[:2] == self.what[:2])
        if not same:
            self.missed += 1
            if self.missed > MISSES:
                self._give_up()
            return None
        if not self.what:
            self.since_sample = sample
        self.what, self.missed, self.lasting = what, 0, self.lasting + 1
        kind = what[0]
        self.doubling = kind == "family" and self.lasting >= LASTING_HOPS
        if self.lasting < LASTING_HOPS or kind in self.said:
            return None
        self.said = [*self.said, kind]
        return self._departure(comb)

    def _departure(self, comb: CombView) -> Departure:
        kind, order, over_db = self.what
        return Departure(
            family=kind == "family",
            order=int(order),
            frequency_hz=float(order * comb.rotation_hz),
            level_db=float(comb.lines_db[order - 1]),
            over_db=float(over_db),
            since_sample=self.since_sample,
        )

    def _follow(self, moved: np.ndarray, gain: float) -> None:
        """A shape may change slowly; what was remembered is at once brought to the level of this cut."""
        self.usual_db = self.usual_db + gain + FOLLOW * (moved - gain)

    def _line_alone(self, comb: CombView, visible: np.ndarray, grown: np.ndarray) -> list:
        over = np.where(visible, grown, -np.inf)
        first = int(over.argmax())
        limit = LINE_REMEMBERED_DB if self.remembered else LINE_DB
        if over[first] <= limit or comb.lines_db[first] <= comb.strongest_db - NEAR_STRONGEST_DB:
            return []
        others = np.abs(np.delete(over, first)[np.delete(visible, first)])
        held = np.count_nonzero(others < OTHERS_DB) >= HELD_SHARE * others.size
        return ["line", first + 1, float(over[first])] if held else []


def _family_grown(comb: CombView, flutes: int | None, visible: np.ndarray, moved: np.ndarray) -> list:
    """The odd multiples of half of tooth passing have grown together against tooth passing and the rest."""
    if not flutes or flutes % 2:
        return []
    lines = comb.lines_db[: moved.size]
    orders = np.arange(1, lines.size + 1)
    half = flutes // 2
    odd = (orders % half == 0) & (orders // half % 2 == 1)
    teeth, rest = orders % flutes == 0, orders % half != 0
    if np.count_nonzero(odd & visible) < LEAST_FAMILY or not np.any(teeth & visible):
        return []
    others = [group & visible for group in (teeth, rest) if np.any(group & visible)]
    against = max(_median(moved[group]) for group in others)
    grown = moved - against
    together = np.count_nonzero(grown[odd & visible] > GROWN_DB)
    jump = _total_db(lines[odd]) - _total_db((lines - moved)[odd]) - against
    if together < max(LEAST_FAMILY, GROWN_SHARE * np.count_nonzero(odd & visible)) or jump < TOGETHER_DB:
        return []
    strongest = int(np.argmax(np.where(odd, lines, -np.inf)))
    return ["family", strongest + 1, jump]


def _median(values: np.ndarray) -> float:
    """Upper median: a fraction of what numpy's costs, and on every hop."""
    return float(np.sort(values)[values.size // 2])


def _total_db(levels_db: np.ndarray) -> float:
    return float(10 * np.log10(np.sum(10 ** (levels_db / 10))))
