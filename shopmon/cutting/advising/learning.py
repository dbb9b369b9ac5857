"""What past cuts teach about a tool assembly on a machine in a material.

A population of systems stands for what is believed: each is a shape from a library (`shape_library`) with
a scale of its frequencies and one of its depths. Each logged cut weighs them: would this system have been
quiet, or have rung at that line? A label may be wrong, a depth mis-typed, a frequency may have drifted as
the spindle warmed, so no single cut rules anything out. Systems that fit are kept and moved about (Markov
chain steps that leave the posterior as it is). A cut whose depth nobody typed is taken at the usual depth
and hardly counts as quiet or not: its line still sharpens the frequency.
"""

from dataclasses import asdict, dataclass
from math import sqrt

import numpy as np

from shopmon.cutting.advising.prior import Prior
from shopmon.cutting.geometry import entry_exit
from shopmon.cutting.nouns import MillingKind, Mode, require, require_flutes, require_positive
from shopmon.cutting.stability.shape_library import shape_frequencies, shape_table, shapes
from shopmon.errors import SettingError

SCHEMA = "shopmon.belief/1"
LEARNER = 2  # raised when the same cuts teach something else: kept beliefs are then learned anew
POPULATION = 1500
WRONG_LABEL = 0.05
EDGE = 0.03  # of the depth (logarithm) within which a cut may be called either way
UNTYPED_EDGE = 0.6  # the same where nobody typed the depth
LINE_SPREAD = 0.006  # of a measured line, and of the drift of the spindle
STRAY_SHARE, STRAY_DENSITY = 0.08, 0.4  # a line of something else: share, density per logarithm
USUAL_AP_MM = 1.0  # where nobody ever typed a depth
MOST_CUTS = 40
STAGES, ENOUGH, MOVES = 6, 0.4, 24
SEED = 7
CONTRADICTED = 0.45


@dataclass(frozen=True, kw_only=True)
class PastCut:
    """One logged cut.

    Attributes
    ----------
    rpm, flutes
        True spindle speed and number of teeth.
    chattered
        What the monitor, or a person, said of it.
    chatter_hz
        The line, where it chattered and one was heard.
    milling, ae_mm, diameter_mm
        Arc of the cut.
    ap_mm
        Axial depth; None where nobody typed it.
    """

    rpm: float
    flutes: int
    chattered: bool
    milling: MillingKind
    ae_mm: float
    diameter_mm: float
    ap_mm: float | None = None
    chatter_hz: float | None = None

    def __post_init__(self):
        for name in ("rpm", "ae_mm", "diameter_mm"):
            require_positive(name, getattr(self, name))
        for name in ("ap_mm", "chatter_hz"):
            require_positive(name, getattr(self, name), optional=True)
        require_flutes(self.flutes)
        require(self.rpm <= 200_000, f"{self.rpm!r} rpm is more than 200,000.")
        require(self.ap_mm is None or self.ap_mm <= 1000, f"ap of {self.ap_mm!r} mm is more than 1000 mm.")
        _ = self.arc_rad

    @property
    def arc_rad(self) -> tuple[float, float]:
        """Entry and exit of a tooth."""
        return entry_exit(self.milling, self.ae_mm, self.diameter_mm)


@dataclass(frozen=True, eq=False, kw_only=True)
class Belief:
    """What is believed of one tool assembly.

    Attributes
    ----------
    prior
        Before the first cut.
    shape
        Shape of each system of the population, an index into `shapes` of the prior; ``(systems,)``.
    pitch, depth
        Logarithms of the scale of its frequencies and of its borders; ``(systems,)``.
    cuts
        What it has learned from, oldest first.
    """

    prior: Prior
    shape: np.ndarray
    pitch: np.ndarray
    depth: np.ndarray
    cuts: tuple[PastCut, ...] = ()

    @property
    def latent(self) -> np.ndarray:
        """The population as the standard normal numbers of its prior, ``(systems, prior.dimensions)``."""
        return self.prior.scaled(shapes(self.prior.measured)[self.shape], self.pitch, self.depth)

    @property
    def doubtful_cuts(self) -> tuple[int, ...]:
        """Indexes of the cuts that most of the population contradicts: label, depth or tool may be wrong."""
        if not self.cuts:
            return ()
        fit = np.exp(_likelihoods(self.prior, self.cuts, self._place)).mean(axis=1)
        quiet = np.array([not cut.chattered or cut.chatter_hz is None for cut in self.cuts])
        limit = np.where(quiet, CONTRADICTED, CONTRADICTED * STRAY_DENSITY)
        return tuple(int(index) for index in np.flatnonzero(fit < limit))

    @property
    def _place(self):
        return self.shape, self.pitch, self.depth


def first_belief(prior: Prior, population: int = POPULATION) -> Belief:
    """What is believed before any cut."""
    shape, pitch, depth = _fresh(prior, population, np.random.default_rng(SEED))
    return Belief(prior=prior, shape=shape, pitch=pitch, depth=depth)


def _fresh(prior: Prior, count: int, rng: np.random.Generator):
    """Systems as they are believed before any cut."""
    shape = rng.integers(len(shapes(prior.measured)), size=count)
    pitch, depth = rng.standard_normal((2, count))
    return shape, prior.pitch_spread * pitch, prior.depth_spread * depth


def learn(belief: Belief, cut: PastCut) -> Belief:
    """Take in one more cut.

    It is let in by stages that leave enough of the population with weight. At each the population is drawn
    anew, and every system takes steps of a Markov chain: a little to the side, or to another shape, or anew.
    """
    rng = np.random.default_rng([SEED, len(belief.cuts)])
    cuts = (*belief.cuts, cut)[-MOST_CUTS:]
    place, done = belief._place, 0.0
    for stage in range(STAGES):
        new = _likelihoods(belief.prior, cuts, place)[-1]
        share = 1.0 - done if stage == STAGES - 1 else _stage(new, 1.0 - done)
        keep = _drawn(np.exp(share * (new - new.max())), rng)
        place, done = tuple(one[keep] for one in place), done + share
        place = _moved(belief.prior, place, cuts, done, rng)
        if done >= 1.0 - 1e-9:
            break
    shape, pitch, depth = place
    return Belief(prior=belief.prior, shape=shape, pitch=pitch, depth=depth, cuts=cuts)


def _moved(prior, place, cuts, share, rng):
    """Steps of a Markov chain that leave what is believed as it is."""
    power = np.ones(len(cuts))
    power[-1] = share
    fit = power @ _likelihoods(prior, cuts, place) + _prior_log(prior, place)
    for step in range(MOVES):
        proposed, favour = _proposed(prior, place, step, rng)
        there = power @ _likelihoods(prior, cuts, proposed) + _prior_log(prior, proposed)
        accepted = np.log(rng.random(len(fit))) < there - fit + favour
        place = tuple(np.where(accepted, new, old) for new, old in zip(proposed, place, strict=True))
        fit = np.where(accepted, there, fit)
    return place


def _prior_log(prior, place):
    return -0.5 * ((place[1] / prior.pitch_spread) ** 2 + (place[2] / prior.depth_spread) ** 2)


def _proposed(prior, place, step, rng):
    """Places to go to, and the logarithm of how much more easily they lead back."""
    shape, pitch, depth = place
    count = len(shape)
    kind = step % 4
    if kind == 3:  # anew, now and then: another lobe altogether
        fresh = _fresh(prior, count, rng)
        return fresh, _prior_log(prior, place) - _prior_log(prior, fresh)
    size = np.exp(rng.uniform(np.log(0.002), np.log(0.3), count))
    aside = pitch + size * rng.standard_normal(count) * (rng.random(count) < 0.8)
    deeper = depth + 2 * np.sqrt(size) * rng.standard_normal(count) * (rng.random(count) < 0.7)
    if kind == 0:
        return (shape, aside, deeper), 0.0
    # to the shape and scales of another, or to another shape that has its first frequency there too
    other = rng.integers(len(shapes(prior.measured)), size=count)
    if kind == 1:
        return (other, aside, deeper), 0.0
    first = shape_frequencies(prior)
    return (other, pitch + first[shape] - first[other] + 0.02 * rng.standard_normal(count), deeper), 0.0


def _stage(new: np.ndarray, most: float) -> float:
    """Largest share of the new cut's likelihood that leaves enough systems with weight."""
    low, high = 0.0, most
    if _effective(new, high) >= ENOUGH:
        return high
    for _ in range(12):
        middle = (low + high) / 2
        low, high = (middle, high) if _effective(new, middle) >= ENOUGH else (low, middle)
    return max(low, 0.02 * most)


def _effective(new: np.ndarray, share: float) -> float:
    weight = np.exp(share * (new - new.max()))
    return float(weight.sum() ** 2 / (weight**2).sum() / len(weight))


def _drawn(weight: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Systematic resampling."""
    marks = (np.arange(len(weight)) + rng.random()) / len(weight) * weight.sum()
    return np.minimum(np.searchsorted(np.cumsum(weight), marks), len(weight) - 1)


def _usual_mm(cuts: tuple[PastCut, ...]) -> float:
    """Depth at which a cut is taken whose own nobody typed."""
    typed = [cut.ap_mm for cut in cuts if cut.ap_mm is not None]
    return float(np.median(typed)) if typed else USUAL_AP_MM


def _likelihoods(prior, cuts, place) -> np.ndarray:
    """Logarithm of the likelihood of each cut under each system, ``(cuts, systems)``."""
    usual = _usual_mm(cuts)
    return np.stack([_one(prior, cut, place, usual) for cut in cuts])


def _one(prior, cut: PastCut, place, usual_mm: float) -> np.ndarray:
    """Logarithm of the likelihood of one cut."""
    table = shape_table(prior, cut.arc_rad, cut.flutes)
    over = np.log(cut.ap_mm or usual_mm) - table.borders(*place, cut.rpm)
    rings = 0.5 + 0.5 * np.tanh(over / (2 * (EDGE if cut.ap_mm is not None else UNTYPED_EDGE)))
    right, wrong = (rings, 1 - rings) if cut.chattered else (1 - rings, rings)
    if cut.chatter_hz is None:
        return np.log((1 - WRONG_LABEL) * right + WRONG_LABEL * wrong)
    line, unsure = table.lines(*place[:2], cut.rpm, over)
    spread = np.sqrt(LINE_SPREAD**2 + unsure**2)
    near = np.exp(-0.5 * ((line - np.log(cut.chatter_hz)) / spread) ** 2) / (spread * sqrt(2 * np.pi))
    heard = (1 - STRAY_SHARE) * near + STRAY_SHARE * STRAY_DENSITY
    return np.log((1 - WRONG_LABEL) * right * heard + WRONG_LABEL * wrong * STRAY_DENSITY)


def belief_state(belief: Belief) -> dict:
    """The belief as plain data, ``shopmon.belief/1``."""
    return {
        "schema": SCHEMA,
        "prior": asdict(belief.prior),
        "shape": belief.shape.tolist(),
        "pitch": np.round(belief.pitch, 5).tolist(),
        "depth": np.round(belief.depth, 5).tolist(),
        "cuts": [asdict(cut) for cut in belief.cuts],
    }


def belief_from(state: dict) -> Belief:
    """Take a belief up again.

    Raises
    ------
    SettingError
        It is not of this schema, or holds values that cannot be.
    """
    if not isinstance(state, dict) or state.get("schema") != SCHEMA:
        raise SettingError("This is no belief that past cuts have made.", "Learn it anew from the log.")
    try:
        modes = tuple(Mode(**mode) for mode in state["prior"]["measured"])
        prior = Prior(**{**state["prior"], "measured": modes})
        shape = np.array(state["shape"], dtype=int)
        pitch, depth = (np.array(state[name], dtype=float) for name in ("pitch", "depth"))
        cuts = tuple(PastCut(**cut) for cut in state["cuts"])
    except (KeyError, TypeError, ValueError) as error:
        why = error.text if isinstance(error, SettingError) else f"{error!r}."
        raise SettingError(f"The belief cannot be read: {why}", "Learn it anew from the log.") from error
    same = shape.ndim == 1 and shape.shape == pitch.shape == depth.shape and len(shape) > 0
    good = same and bool((np.isfinite(pitch) & np.isfinite(depth)).all())
    good = good and bool(((shape >= 0) & (shape < len(shapes(prior.measured)))).all())
    require(good, "The belief holds numbers that cannot be.", "Learn it anew from the log.")
    return Belief(prior=prior, shape=shape, pitch=pitch, depth=depth, cuts=cuts)
