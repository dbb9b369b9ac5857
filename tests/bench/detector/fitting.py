"""Fits the evidence of chatter to simulated cuts: ``python -m tests.bench.detector fit FOLDER…``.

Each hop of each case gives the clues of its stray lines. Which of them is chatter nobody says; only whether
there is chatter. So the worst line of a hop stands for it, the curves are fitted, the worst is chosen anew,
and so on a few times (learning from bags of examples: Dietterich, Lathrop, Lozano-Pérez, Artif. Intell. 89,
1997, 31-71).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import optimize

from shopmon.errors import SettingError
from shopmon.listening import chain as engine
from shopmon.listening.chatter import suspect as judged
from shopmon.listening.chatter.clues import CLUES
from shopmon.listening.chatter.evidence import EvidenceModel
from tests.bench.detector.corpus import samples_of, stems, truth_of_stem
from tests.listening.hearing import listen

GREY_S, FADING_S = 0.25, 0.5
RIDGE, ROUNDS, SMALLEST = 3.0, 4, 0.02
# where each clue begins to count and where it counts no further; all but the falling ones may only rise
FIRST_GUESS = {"grown_db": 1.0, "over_comb_db": 1.0, "family_teeth": 2.0, "strangers": -1.0}
HEAD = '''"""Weights of the evidence, fitted to simulated cuts by the detector's benchmark.

Not meant to be changed by hand: ``python -m tests.bench.detector fit`` prints this file.
"""

from shopmon.listening.chatter.evidence import EvidenceModel

MODEL = EvidenceModel(
    base={base:.3f},
    steps=('''
BETWEEN, TAIL = "    ),\n    products=(", "    ),\n)\n"
CURVES = {
    "over_floor_db": (8, 12, 16, 22, 30, 40),
    "over_background_db": (5, 9, 14, 20, 28, 40),
    "grown_db": (5, 9, 14, 20, 28, 40),
    "over_comb_db": (-20, -14, -8, -2, 6, 14, 24),
    "over_skirt_db": (4, 10, 18, 30),
    "over_strongest_db": (-26, -18, -10, -2, 6, 16),
    "family_teeth": (0, 0.3, 0.8, 1.5, 2.5),
    "family_rotation": (0, 0.5, 1.2, 2.2),
    "strangers": (0, 1, 2, 4, 6),
    "kin_over_comb_db": (-20, -12, -4, 4, 14, 24),
    "kin_nats": (0, 2, 4, 8, 14),
    "kin_lead": (-10, -4, 0, 2, 4, 8, 14, 22),
}
FALLING = ("strangers",)
FLAGS = ("background_known", "flutes_known", "speed_heard", "risen", "touching", "told")
FREE = ("background_known", "flutes_known", "told")
OVER_COMB, BEFORE, GROWN = ("over_comb_db", -16, 6), ("over_background_db", 7, 25), ("grown_db", 7, 25)
FAMILY, LEAD = ("family_teeth", 0, 1.5), ("kin_lead", 0, 10)
PAIRS = (
    (FAMILY, BEFORE),
    (FAMILY, GROWN),
    (FAMILY, OVER_COMB),
    (("over_background_db", 7, 30), ("over_comb_db", -16, 10)),
    (("grown_db", 7, 30), ("over_comb_db", -16, 10)),
    (("over_skirt_db", 8, 30), OVER_COMB),
    (("family_rotation", 0, 2), OVER_COMB),
    (("background_known", 0, 1), BEFORE),
    (("background_known", 0, 1), OVER_COMB),
    (("flutes_known", 0, 1), FAMILY),
    (("speed_heard", 0, 1), OVER_COMB),
    (("speed_heard", 0, 1), FAMILY),
    (("risen", 0, 1), OVER_COMB),
    (("risen", 0, 1), FAMILY),
    (("touching", 0, 1), OVER_COMB),
    (LEAD, ("told", 0, 1)),
    (LEAD, ("speed_heard", 0, 1)),
    (LEAD, OVER_COMB),
    (("kin_lead", 6, 16), ("background_unknown", 0, 1)),
    (LEAD, ("background_known", 0, 1)),
    (LEAD, ("flutes_known", 0, 1)),
    (LEAD, GROWN),
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Hops:
    """What the hops of many cases gave.

    Attributes
    ----------
    clues
        Of all lines of all hops, shape ``(lines, len(CLUES))``.
    hop
        Hop that each line belongs to, shape ``(lines,)``.
    ringing
        1 chatter, 0 none, -1 left out (it begins, or dies away), shape ``(hops,)``.
    case
        Case that each hop belongs to, shape ``(hops,)``.
    worth
        How much each case weighs, shape ``(cases,)``.
    """

    clues: np.ndarray
    hop: np.ndarray
    ringing: np.ndarray
    case: np.ndarray
    worth: np.ndarray


class Ears:
    """Stands in for the model and keeps the clues it is shown."""

    def __init__(self, model):
        self.model = model
        self.shown = np.zeros((0, len(CLUES)), dtype=np.float32)

    def log_odds(self, clues):
        """Keep the clues and answer as the model would."""
        self.shown = clues.astype(np.float32)
        return self.model.log_odds(clues)


def overheard(samples, rate_hz, **setup):
    """Listen to a case; return the time in s and the clues of each hop whose lines were weighed."""
    ears, found, weighed = Ears(judged.MODEL), [], engine.suspect

    def spy(scene, strays, around):
        ears.shown = ears.shown[:0]
        answer = weighed(scene, strays, around)
        found.append((scene.view.sample / rate_hz, ears.shown))
        return answer

    judged.MODEL, engine.suspect = ears, spy
    try:
        listen(samples, rate_hz, **setup)
    finally:
        judged.MODEL, engine.suspect = ears.model, weighed
    return found


def ringing(at_s, chatter):
    """Return 1 in chatter, 0 away from it, -1 where it begins or dies away."""
    for span in chatter:
        if span["start_s"] <= at_s <= span["end_s"] + FADING_S:
            return 1 if span["start_s"] + GREY_S <= at_s <= span["end_s"] else -1
    return 0


def fit(folders, worth=None, out=None):
    """Fit to the cases of some folders; print the weights as a module, or write them to a file.

    Parameters
    ----------
    folders
        Of drawn cases.
    worth
        How much a case of each folder weighs; 1 each where not given.
    out
        File to write to.

    Raises
    ------
    SettingError
        Not as many worths as folders, or nothing to fit to.
    """
    worth = worth or [1.0] * len(folders)
    if len(worth) != len(folders):
        raise SettingError(f"{len(worth)} worths do not fit {len(folders)} folders.", "Give one for each.")
    text = module_text(*fitted(gathered(folders, worth)))
    if out is None:
        print(text, end="")
    else:
        out.write_text(text, encoding="utf-8")


def clear_cases(folders, worth):
    """Yield stem, truth and worth of every case that is neither marginal nor hidden, of all folders."""
    for folder, weight in zip(folders, worth, strict=True):
        for stem in stems(folder):
            truth = truth_of_stem(stem)
            if not (truth["case"]["marginal"] or truth["case"]["hidden"]):
                yield stem, truth, weight


def gathered(folders, worth):
    """Listen to all clear cases of some folders as they were told.

    Raises
    ------
    SettingError
        Where no line was weighed in any of them.
    """
    clues, hop, labels, cases, weights = [], [], [], [], []
    for number, (stem, truth, weight) in enumerate(clear_cases(folders, worth)):
        weights.append(weight)
        case = truth["case"]
        for at_s, shown in overheard(
            samples_of(stem),
            truth["recording"]["sample_rate_hz"],
            rpm=case["told_rpm"],
            flutes=case["told_flutes"],
            sensor=case["sensor"],
        ):
            clues.append(shown)
            hop.append(np.full(len(shown), len(labels)))
            labels.append(ringing(at_s, truth["chatter"]))
            cases.append(number)
    if not clues:
        raise SettingError("There is nothing to fit to.", "Draw cases into the folders first.")
    return Hops(
        clues=np.concatenate(clues),
        hop=np.concatenate(hop),
        ringing=np.array(labels),
        case=np.array(cases),
        worth=np.array(weights),
    )


def terms():
    """Return the steps and products that are fitted, and the bounds of their weights."""
    steps = [(name, low, high) for name, knots in CURVES.items() for low, high in pairwise(knots)]
    steps += [(name, 0, 1) for name in FLAGS]
    bounds = [(None, 0) if name in FALLING else (None if name in FREE else 0, None) for name, _, _ in steps]
    products = [(*one, *other) for one, other in PAIRS]
    return steps, products, [(None, None), *bounds, *((0, None) for _ in products)]


def unweighted(steps, products):
    """Return a model of these terms, to read its columns."""
    return EvidenceModel(
        base=0.0,
        steps=tuple((*step, 1.0) for step in steps),
        products=tuple((*product, 1.0) for product in products),
    )


def logistic(columns, labels, weights, bounds):
    """Ridge logistic regression within bounds; the first coefficient is the base."""

    def loss(found):
        odds = found[0] + columns @ found[1:]
        miss = weights * (1 / (1 + np.exp(-odds)) - labels)
        value = np.sum(weights * (np.logaddexp(0, odds) - labels * odds)) + 0.5 * RIDGE * np.sum(
            found[1:] ** 2
        )
        return value, np.concatenate(([miss.sum()], columns.T @ miss + RIDGE * found[1:]))

    start = np.zeros(columns.shape[1] + 1)
    return optimize.minimize(loss, start, jac=True, bounds=bounds, method="L-BFGS-B").x


def worst_lines(odds, hop, hops):
    """Return the line with the highest odds of each hop, -1 where a hop has none."""
    order = np.lexsort((odds, hop))
    worst = np.full(hops, -1)
    worst[hop[order]] = order
    return worst


def fitted(heard):
    """Fit the curves; return steps, products and coefficients (base first)."""
    steps, products, bounds = terms()
    columns = unweighted(steps, products).columns(heard.clues.astype(float))
    first = np.array([FIRST_GUESS.get(step[0], 0.0) for step in (*steps, *products)])
    odds = columns @ first
    share = heard.worth / np.sqrt(np.maximum(np.bincount(heard.case, minlength=heard.worth.size), 10))
    for _ in range(ROUNDS):
        worst = worst_lines(odds, heard.hop, heard.ringing.size)
        use = (worst >= 0) & (heard.ringing >= 0)
        weights = share[heard.case[use]]
        found = logistic(columns[worst[use]], heard.ringing[use] == 1, weights / weights.mean(), bounds)
        odds = found[0] + columns @ found[1:]
    return steps, products, found


def module_text(steps, products, found):
    """Return the source of ``shopmon/listening/chatter/weights.py``."""
    weighed = zip((*steps, *products), found[1:], strict=True)
    rows = [(*term, f"{weight:.3f}") for term, weight in weighed if abs(weight) > SMALLEST]
    single = [f'        ("{n}", {a:g}, {b:g}, {w}),' for n, a, b, w in (r for r in rows if len(r) == 4)]
    double = [
        f'        ("{n}", {a:g}, {b:g}, "{m}", {c:g}, {d:g}, {w}),'
        for n, a, b, m, c, d, w in (r for r in rows if len(r) == 7)
    ]
    return "\n".join([HEAD.format(base=found[0]), *single, BETWEEN, *double, TAIL])
