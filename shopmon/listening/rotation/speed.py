"""What is known of the rotation: searched where nothing is given, followed where something is."""

import math
from bisect import bisect_right

import numpy as np

from shopmon.listening.background import Background
from shopmon.listening.intake.front import Front, View, Window
from shopmon.listening.intake.hops import Rates
from shopmon.listening.rotation.comb_view import CombView, view_comb
from shopmon.listening.rotation.search import EVERY_HOPS, TOLD_OFF, SpeedSearch
from shopmon.listening.rotation.tracker import REACH, SpeedTracker
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.listening.state import Memory
from shopmon.signals.comb.fit import bins_needed
from shopmon.signals.comb.spacing import LEAST_DB, RISEN_DB, strongest
from shopmon.signals.lines import map_lines

CONTRAST_DB, CONTRAST_SPREAD_DB = 3.4, 0.6
# share of right speeds by contrast, counted on simulated cuts: told, found, found with a rival
RIGHT_AT_DB = (2.5, 4.0, 5.5, 7.0, 9.5, 14.0)
RIGHT_TOLD = (0.3, 0.65, 0.78, 0.93, 0.95, 0.99)
RIGHT_FOUND = (0.2, 0.45, 0.58, 0.65, 0.82, 0.95)
RIGHT_RIVALLED = (0.1, 0.35, 0.42, 0.48, 0.66, 0.82)
SUPPORTED_DB, SUPPORTED_MOST_DB = 3.5, 7.0
RINGING, LONGEST_RING_HOPS = 0.35, 60
FORGET = 0.12
TRUST, DISTRUST = 0.5, 0.3
UNSTEADY = 1e-3
# how well a comb must fit to be called heard while nothing is cut, and how much worse it may become
FIT_TOLD, FIT_FOUND, FIT_LEEWAY, STEADY_FOUND = -0.5, 1.0, 0.5, 5e-4
LOST_HOPS = 30
WITNESS_HOPS, AGAINST_LOOKS, AGAINST_TRUSTED_LOOKS, BEYOND_DOUBT_DB = 12, 4, 8, 5.5
SETTLING_HOPS, SETTLING_EVERY_HOPS = 24, 2
DIFFERENT = 0.02
AGAIN_LOOKS = 5  # the search remembers some looks after a step
FASTER = 1.1  # than the fastest that is looked for
MEASURED = 0.99  # a tachometer's word; no count stands behind it


def window_for(rotation_hz: float | None) -> float:
    """Analysis window in s: 0.4, or about twenty turns at low speed."""
    if rotation_hz is None or rotation_hz >= 45:
        return 0.4
    return 0.8 if rotation_hz >= 22 else 1.6


class Speed(Memory):
    """Joins the search over all speeds with the fine following of one.

    Parameters
    ----------
    rates
        The grid.
    settings
        For the range of speeds.
    """

    kept = ("contrast_db", "trusted", "found", "hops", "lost", "window_s", "rivals_hz", "against",
            "told_hz", "told_wrong", "risen_hops", "turned_hz",
            "ringing_hops", "next_window_s", "stands", "proven", "again")  # fmt: skip

    def __init__(self, rates: Rates, settings: ListenerSettings):
        self.tracker = SpeedTracker()
        self.search = SpeedSearch(rates.rate_hz, settings.min_rpm / 60, settings.max_rpm / 60)
        self.contrast_db = 0.0
        self.trusted = False
        self.found = False
        self.hops = 0
        self.lost = 0
        self.window_s = self.next_window_s = 0.4
        self.rivals_hz: list[float] = []
        self.against = self.again = 0
        self.told_hz: float | None = None
        self.told_wrong = False
        self.risen_hops = 0
        self.turned_hz: float | None = None
        self.ringing_hops = 0
        self.stepped = False
        self.measured = False
        self.stands = False
        self.proven = False

    def snapshot(self) -> dict:
        """Return the memory with that of search and tracker."""
        return {
            **super().snapshot(),
            "tracker": self.tracker.snapshot(),
            "search": self.search.snapshot(),
            "measured": self.measured,
        }

    def restore(self, data: dict) -> None:
        """Take up a memory."""
        super().restore({"again": 0, **data})  # not known before the told speed was listened for again
        self.tracker.restore(data["tracker"])
        self.search.restore(data["search"])
        self.measured = data.get("measured", False)

    @property
    def rotation_hz(self) -> float | None:
        """Rotation frequency as followed, trusted or not."""
        return self.tracker.rotation_hz

    @property
    def confidence(self) -> float:
        """Probability that the followed speed is right within 0.5 %, as counted on simulated cuts."""
        if self.tracker.rotation_hz is None:
            return 0.0
        if self.measured:
            return MEASURED
        rate = RIGHT_TOLD if not self.found else RIGHT_RIVALLED if self.rivals_hz else RIGHT_FOUND
        return round(_read_curve(self._standing_db, RIGHT_AT_DB, rate), 3)

    @property
    def _standing_db(self) -> float:
        """How far the comb stands out, or as far as the steps between ringing lines are worth.

        Bells and glass ring in steps, too: at a speed neither told nor heard before, steps prove nothing.
        """
        if self.found and self.turned_hz is None:
            return self.contrast_db
        return max(self.contrast_db, min(SUPPORTED_DB * self.tracker.support, SUPPORTED_MOST_DB))

    def _fits(self, least: float) -> bool:
        """Whether the comb stands out enough to be followed."""
        if self.tracker.rotation_hz is None:
            return False
        return 1 / (1 + math.exp(-(self._standing_db - CONTRAST_DB) / CONTRAST_SPREAD_DB)) > least

    @property
    def ringing(self) -> bool:
        """Whether lines that have just come step by the rotation: no background, even where nothing rose."""
        return 0 < self.ringing_hops < LONGEST_RING_HOPS

    def heard(self, touching: bool) -> bool:
        """Whether the spindle itself is heard to turn, so that its speed may be told.

        In a cut, a comb that is trusted is that of the spindle. While nothing is cut it may as well be hum or
        music near a told speed, or another machine: it must fit well, and at another speed than the told one
        it is a stranger's until a cut was heard at it.

        Parameters
        ----------
        touching
            A tooth is in metal.
        """
        if touching or self.measured:
            return self.trusted
        return self.trusted and self.stands and not self.strange

    @property
    def adrift(self) -> bool:
        """Whether lines say nothing now: the comb has gone from where it was, or a found one is not heard.

        A cut that rings from its beginning drowns the comb; then the lines step by the rotation all the same.
        """
        drowned = 0 < self.risen_hops <= SETTLING_HOPS + self.tracker.gone_hops
        unheard = self.found and not self.trusted and self.tracker.support < RINGING
        return (self.tracker.adrift and not drowned) or unheard

    def prove(self) -> None:
        """A cut is heard at the speed that is followed."""
        self.proven = self.proven or self.trusted

    @property
    def strange(self) -> bool:
        """Whether what is followed is not what was told, and no cut was heard at it: a stranger's, so far."""
        return self.found and self.told_hz is not None and not self.proven

    def _judge_standing(self) -> None:
        fit, least = self.tracker.usual, FIT_FOUND if self.found else FIT_TOLD
        steady = not self.found or self.tracker.jitter < STEADY_FOUND
        self.stands = steady and fit > least - FIT_LEEWAY * self.stands

    @property
    def contradicted(self) -> bool:
        """Whether another speed has fitted much better than the told one for a while."""
        return self.told_wrong or self.against >= AGAINST_LOOKS

    def alternatives_rpm(self) -> list[float]:
        """Speeds in a simple ratio to the one found that explain the sound almost as well."""
        return [round(60 * hz, 1) for hz in self.rivals_hz]

    def use(self, setup: Setup) -> None:
        """Aim at a setup's speed, or search where it has none."""
        given = setup.nominal_rpm / 60 if setup.nominal_rpm else None
        keep = given is None and self.found and self.trusted
        if not keep:
            self.tracker.aim(given, setup.flutes)
            self.contrast_db, self.trusted, self.found = 0.0, False, False
            self.window_s = self.next_window_s = window_for(given)
        else:
            self.tracker.flutes = setup.flutes
        self.lost = 0
        self.rivals_hz = []
        self.against = 0
        self.told_hz, self.told_wrong = given, False
        self.turned_hz = None
        self.stands = self.proven = bool(keep and self.proven)
        self.search.clear(setup.flutes)

    def clear(self) -> None:
        """Forget the sound at hand."""
        self.tracker.clear()
        self.search.clear(self.search.flutes)
        self.search.drop()
        self.contrast_db, self.trusted = 0.0, False
        self.against = 0
        self.lost = 0
        self.turned_hz = None

    def follow(
        self,
        view: View,
        front: Front,
        raised_db: np.ndarray,
        risen: bool,
        background: Background,
        measured_hz: float | None = None,
    ) -> CombView | None:
        """Take in one hop; return the comb in it, None while no speed is known at all.

        Parameters
        ----------
        view, front
            The hop and where its samples are.
        raised_db
            ``peaks_near`` of the heights above the floor.
        risen
            The sound has risen over the background.
        background
            What sounded before.
        measured_hz
            Rotation by a tachometer; then it is the truth, and nothing is searched.
        """
        self.hops += 1
        self.stepped = False
        if measured_hz is not None:
            return self._take_measured(measured_hz, view, front.window, raised_db, risen)
        if self.measured:
            self._drop()
        self.measured = False
        if risen and not self.risen_hops:
            self.search.begin()
        self.risen_hops = self.risen_hops + 1 if risen else 0
        if not risen:
            self.window_s = self.next_window_s
        if self.hops % self._every_hops() == 0:
            searching = self.tracker.centre_hz is None or self.found
            (self._search if searching else self._hear_witness)(front, risen)
        if not view.full:
            return None
        before = self.tracker.rotation_hz
        rotation = self._track(view, front.window, background)
        self.stepped = None not in (before, rotation) and abs(rotation / before - 1) > DIFFERENT
        if self.stepped and self.trusted:
            self.search.look_anew()
        if rotation is None:
            return None
        if rotation > FASTER * self.search.highest_hz:
            self._drop()  # no spindle turns so fast: music made it look like a step
            return None
        self.ringing_hops = self.ringing_hops + 1 if self.tracker.support > RINGING else 0
        comb = view_comb(view, front.window, raised_db, rotation)
        self.contrast_db += FORGET * (comb.contrast_db - self.contrast_db)
        steady = self.trusted or self.tracker.jitter < UNSTEADY
        self.trusted = steady and self._fits(DISTRUST if self.trusted else TRUST)
        self._judge_standing()
        if self.trusted and not risen:
            self.turned_hz = rotation
        self.lost = 0 if self.trusted else self.lost + 1
        if self.found and self.lost > LOST_HOPS:
            self._drop()
            return None
        return comb

    def _take_measured(
        self, measured_hz: float, view: View, window: Window, raised_db: np.ndarray, risen: bool
    ) -> CombView | None:
        self.tracker.take(measured_hz)
        self.measured = self.trusted = True
        self.found = self.told_wrong = False
        self.against = self.lost = self.ringing_hops = 0
        self.rivals_hz = []
        self.next_window_s = window_for(measured_hz)
        self.risen_hops = self.risen_hops + 1 if risen else 0
        if not risen:
            self.window_s, self.turned_hz = self.next_window_s, measured_hz
        if not view.full:
            return None
        comb = view_comb(view, window, raised_db, measured_hz)
        self.contrast_db += FORGET * (comb.contrast_db - self.contrast_db)
        return comb

    def _every_hops(self) -> int:
        """How often to look: more often just after a rise, when what turns is heard best."""
        if 0 < self.risen_hops <= SETTLING_HOPS:
            return SETTLING_EVERY_HOPS
        calm = self.trusted and not self.against and (self.risen_hops or not self.found)
        return WITNESS_HOPS if calm else EVERY_HOPS

    @property
    def doubted(self) -> bool:
        """Whether the latest looks speak for another speed than the one followed."""
        followed, best = self.tracker.rotation_hz, self.search.standing_hz
        return followed is not None and best is not None and abs(best / followed - 1) > DIFFERENT

    def _track(self, view: View, window: Window, background: Background) -> float | None:
        if self.tracker.centre_hz is None:
            return None
        lines = map_lines(view.lines, bins_needed(window.bin_hz, window.bins))
        turned_hz = self.turned_hz if self.risen_hops else None
        return self.tracker.follow(lines, window, _new_lines(view, window, background), turned_hz)

    def _drop(self) -> None:
        self.turned_hz = None
        self.stands = self.proven = False
        self.tracker.aim(self.told_hz, self.tracker.flutes)
        self.window_s = self.next_window_s = window_for(self.told_hz)
        self.told_wrong = False
        self.search.clear(self.search.flutes)
        self.contrast_db, self.trusted, self.found, self.lost = 0.0, False, False, 0
        self.rivals_hz, self.again = [], 0

    def _hear_witness(self, front: Front, risen: bool) -> None:
        """Ask the search, which was told nothing, whether another speed fits much better; follow that one."""
        found = self._look(front, risen)
        told = self.tracker.rotation_hz
        self.again = self.again + 1 if self._told_again(told, found) else 0
        if self.again >= AGAIN_LOOKS:
            self._drop()
            return
        # heard well at the told speed, or heard to cut at it: not doubted for a neighbour that starts
        sure = self.trusted and (self.proven or self.contrast_db > BEYOND_DOUBT_DB)
        doubted = found is not None and told is not None and not sure
        doubted = doubted and self.search.contradicts(told, found)
        self.against = self.against + 1 if doubted else 0
        if self.against >= (AGAINST_LOOKS if risen and not self.trusted else AGAINST_TRUSTED_LOOKS):
            self.told_wrong = True
            self._aim_at(found)

    def _told_again(self, followed_hz: float | None, found_hz: float | None) -> bool:
        """Whether the search, which was told nothing, hears the told speed, while music led us elsewhere."""
        if self.told_hz is None or followed_hz is None or found_hz is None:
            return False
        strayed = abs(followed_hz / self.told_hz - 1) > REACH
        return strayed and abs(found_hz / self.told_hz - 1) < TOLD_OFF

    def _look(self, front: Front, risen: bool) -> float | None:
        window = self.search.window
        if front.filled < window.length:
            return None
        power = window.power(front.recent(window.length))
        return self.search.look(front.channels.even(power), risen)

    def _search(self, front: Front, risen: bool) -> None:
        found = self._look(front, risen)
        if self.told_wrong and self.search.believable(self.told_hz):
            self._drop()
            return
        if found is None:
            return
        if self.told_wrong and risen and self.search.is_told(self.told_hz, found):
            self._drop()
            return
        centre = self.tracker.rotation_hz or self.tracker.centre_hz
        differs = centre is None or abs(found / centre - 1) > DIFFERENT
        if differs and risen and centre is not None and self._keeps(centre, found):
            return
        if differs and not (self.trusted and not self.search.better(centre, found)):
            self._aim_at(found)
        self.rivals_hz = self.search.rivals_hz(found)

    def _keeps(self, followed_hz: float, found_hz: float) -> bool:
        """Whether a part or multiple is not believed: the speed followed has cut, or was heard better."""
        cut = self.proven and self.trusted and self.search.is_simple(followed_hz, found_hz)
        return cut or self.search.refuted(followed_hz, found_hz)

    def _aim_at(self, found_hz: float) -> None:
        self.tracker.aim(found_hz, self.search.flutes)
        self.turned_hz = None
        self.stands = self.proven = False
        # what only steps speak for is not trusted before its comb is heard
        self.contrast_db = CONTRAST_DB if self.search.by_comb else 0.0
        self.found, self.lost = True, 0
        # in a cut a shorter window can wait: the background is known on the grid of the longer one
        self.next_window_s = window_for(found_hz)
        self.window_s = max(self.window_s, self.next_window_s)


def _read_curve(value: float, places: tuple[float, ...], heights: tuple[float, ...]) -> float:
    """Read a curve of straight pieces, level beyond both ends: five times as quick as numpy."""
    if not value > places[0]:
        return heights[0]
    if value >= places[-1]:
        return heights[-1]
    piece = bisect_right(places, value) - 1
    slope = (heights[piece + 1] - heights[piece]) / (places[piece + 1] - places[piece])
    return heights[piece] + slope * (value - places[piece])


def _new_lines(view: View, window: Window, background: Background) -> tuple[np.ndarray, np.ndarray] | None:
    """Frequencies and heights of the strongest lines that stand higher than before; None: not known."""
    if background.spectrum_db.size != window.bins:
        return None
    lines = view.lines
    strong = (lines.height_db > LEAST_DB).nonzero()[0]
    height_db = lines.height_db[strong]
    new = height_db - background.height_db(window)[lines.bins[strong]] > RISEN_DB
    return strongest(lines.place[strong[new]] * window.bin_hz, height_db[new])
