"""The arithmetic of the benchmark: what counts as a hit, how sure a share is, how soon, how near."""

from dataclasses import dataclass

import numpy as np

from tests.bench.detector.hearing import true_rpm_at

GRACE_S = 0.15  # an alarm so little before the motion passed the border is not yet a false one
LATE_S = 1.0  # after the chatter has ended
LEAST_TURNS = 5
NEAR_SHARE, NEAR_HZ = 0.005, 3.0
MEMBERS = 80
HEARD_S = 0.6  # before an alarm: what its frequency may be of
CLEAR_DB, CLEAR_OVER_DB = 10.0, 6.0


@dataclass(frozen=True, kw_only=True)
class Judged:
    """One case with what a method said of it.

    Attributes
    ----------
    truth
        As drawn.
    alarm_s
        First alarm; None means none.
    outcome
        ``"hit"``, ``"early"``, ``"missed"`` where it chatters; ``"quiet"``, ``"false"`` where it does not.
    answer
        All that the listener said; None of a plain method.
    """

    truth: dict
    alarm_s: float | None
    outcome: str
    answer: dict | None = None

    @property
    def case(self):
        """What was drawn."""
        return self.truth["case"]

    @property
    def chatters(self):
        """Whether it is a case of chatter."""
        return bool(self.truth["chatter"])

    @property
    def onset_s(self):
        """When the motion first passed the border."""
        return self.truth["chatter"][0]["start_s"]

    @property
    def delay_s(self):
        """From onset to alarm."""
        return self.alarm_s - self.onset_s

    @property
    def clear(self):
        """Whether it is loud, and its chatter too."""
        over = self.case["chatter_over_comb_db"]
        loud = self.case["snr_db"] >= CLEAR_DB
        return loud and (not self.chatters or over >= CLEAR_OVER_DB)


def judged(truth, alarm_s, answer=None):
    """Judge one answer."""
    return Judged(truth=truth, alarm_s=alarm_s, outcome=outcome(truth["chatter"], alarm_s), answer=answer)


def outcome(chatter, alarm_s):
    """Name what an alarm (or none) means: one that was on before the chatter began is no hit."""
    if not chatter:
        return "quiet" if alarm_s is None else "false"
    if alarm_s is None or alarm_s > chatter[-1]["end_s"] + LATE_S:
        return "missed"
    return "early" if alarm_s < chatter[0]["start_s"] - GRACE_S else "hit"


def first_alarm_s(answer):
    """When the first alarm was raised, None when none was."""
    return min((alarm["at_s"] for alarm in answer["alarms"]), default=None)


def wilson(good, total, z=1.96):
    """95 % interval of a share after Wilson (J. Am. Stat. Assoc. 22 (1927) 209-212)."""
    if total == 0:
        return 0.0, 1.0
    share = good / total
    middle = (share + z * z / (2 * total)) / (1 + z * z / total)
    half = z * np.sqrt(share * (1 - share) / total + z * z / (4 * total * total)) / (1 + z * z / total)
    return max(0.0, float(middle - half)), min(1.0, float(middle + half))


def poisson_bound(events, level=0.95):
    """Two-sided exact interval of a Poisson mean (Garwood, Biometrika 28 (1936) 437-442)."""
    from scipy.stats import chi2

    tail = (1 - level) / 2
    low = 0.0 if events == 0 else float(chi2.ppf(tail, 2 * events) / 2)
    return low, float(chi2.ppf(1 - tail, 2 * events + 2) / 2)


def counted(cases):
    """Return (hits, chatter cases, quiet ones, cases without chatter)."""
    ringing = [case for case in cases if case.chatters]
    others = [case for case in cases if not case.chatters]
    hits = sum(case.outcome == "hit" for case in ringing)
    return hits, len(ringing), sum(case.outcome == "quiet" for case in others), len(others)


def balanced(cases):
    """Mean of sensitivity and specificity; not a number where one of them is of nothing."""
    hits, ringing, quiet, others = counted(cases)
    return (hits / ringing + quiet / others) / 2 if ringing and others else float("nan")


def rotation_hz(truth, time_s):
    """True rotation at a time."""
    return float(true_rpm_at(truth, time_s)) / 60


def floor_s(case):
    """The delay that nothing can beat: 1/Δf to the nearest rotation line, or five revolutions."""
    rotation = rotation_hz(case.truth, case.onset_s)
    part = case.truth["chatter"][0]["frequency_hz"] / rotation % 1.0
    apart_hz = min(part, 1 - part) * rotation
    return max(1 / max(apart_hz, 0.2), LEAST_TURNS / rotation)


def near_family(case, spacing="teeth", said="frequency_hz"):
    """Whether the frequency of the first alarm is one of the true family, that of the middle of the chatter.

    Parameters
    ----------
    case
        A hit.
    spacing
        ``"teeth"``: members at tooth-passing distance, of the rotation where the pitch is unequal.
        ``"rotation"``: at any multiple of the rotation, as runout makes them; at low speed these lie so close
        that much is near one of them, see `near_by_chance`. A member below zero is heard at its positive
        frequency.
    said
        ``"ended_hz"`` to ask for what was said when the chatter had ended.
    """
    found = first_frequency_hz(case, said)
    return _near_any(found, [case.truth["chatter"][0]["frequency_hz"]], spacing_hz(case, spacing))


def near_then(case):
    """Whether the frequency of the first alarm is of the family as it rang then, spaced by the teeth.

    The frequency wanders as depth and motion grow, and two modes may ring at once: see `true_lines`.
    """
    least = case.alarm_s - HEARD_S
    lines = [hz for time_s, *rest in case.case["lines"] if least <= time_s <= case.alarm_s for hz in rest]
    return bool(lines) and _near_any(first_frequency_hz(case), lines, spacing_hz(case, "teeth"))


def _near_any(found_hz, lines_hz, distance_hz):
    family = np.abs(np.add.outer(lines_hz, distance_hz * np.arange(-MEMBERS, MEMBERS + 1)))
    return bool(np.min(np.abs(family - found_hz)) <= near_hz(found_hz))


def near_by_chance(case, spacing="teeth"):
    """How probably any frequency at all would be near one of the true family."""
    # f_c + k d and, mirrored, -f_c + k d: two combs
    return min(1.0, 4 * near_hz(first_frequency_hz(case)) / spacing_hz(case, spacing))


def first_frequency_hz(case, said="frequency_hz"):
    """Frequency that the first alarm gave."""
    return min(case.answer["alarms"], key=lambda alarm: alarm["at_s"])[said]


def spacing_hz(case, spacing):
    """Distance between members of the family at the time of the alarm."""
    rotation = rotation_hz(case.truth, case.alarm_s)
    equal = case.truth["plan"]["assembly"]["mill"]["pitch_deg"] is None
    return rotation * (case.truth["spindle"]["flutes"] if equal and spacing == "teeth" else 1)


def near_hz(frequency_hz):
    """How far off a frequency may be."""
    return max(NEAR_HZ, NEAR_SHARE * frequency_hz)


def overlap_s(first, second):
    """Time that two lists of intervals share."""
    return sum(max(0.0, min(b, d) - max(a, c)) for a, b in first for c, d in second)


def length_s(intervals):
    """Time in a list of intervals."""
    return sum(end - start for start, end in intervals)
