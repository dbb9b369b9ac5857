"""What past cuts teach about a tool assembly on a machine in a material.

A population of systems stands for what is believed. Each logged cut weighs them: would this system have been
quiet, or have rung at that line? A label may be wrong, a depth mis-typed, a frequency may have drifted as the
spindle warmed, so no single cut rules anything out. Systems that fit are kept and moved about (Markov chain
steps that leave the posterior as it is), so that few of them suffice. A cut whose depth nobody typed is taken
at the usual depth and hardly counts as quiet or not: its line still sharpens the frequency.
"""

from dataclasses import asdict, dataclass, replace
from math import log, sqrt

import numpy as np

from shopmon.cutting.geometry import entry_exit
from shopmon.cutting.many_cuts import spectral_radius
from shopmon.cutting.nouns import MillingKind, Mode, require, require_flutes, require_positive
from shopmon.cutting.prior import Prior
from shopmon.errors import SettingError

SCHEMA = "shopmon.belief/1"
LEARNER = 1  # raised when the same cuts teach something else: kept beliefs are then learned anew
POPULATION = 120
WRONG_LABEL = 0.05
EDGE = 0.03  # growth per tooth (logarithm) within which a cut may be called either way
LINE_SPREAD = 0.006  # of a measured line, and of the drift of the spindle
STRAY_SHARE, STRAY_DENSITY = 0.08, 0.4  # a line of something else: share, density per logarithm
USUAL_AP_MM = 1.0  # where nobody ever typed a depth
SCALINGS = 3
MOST_CUTS = 12
STAGES, ENOUGH, MOVES = 5, 0.4, 2
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
    latent
        The population as standard normal numbers, ``(systems, prior.dimensions)``, all of equal weight.
    cuts
        What it has learned from, oldest first.
    likelihood
        Logarithm of the likelihood of each cut under each system, ``(systems, cuts)``.
    """

    prior: Prior
    latent: np.ndarray
    cuts: tuple[PastCut, ...] = ()
    likelihood: np.ndarray

    @property
    def doubtful_cuts(self) -> tuple[int, ...]:
        """Indexes of the cuts that most of the population contradicts: label, depth or tool may be wrong."""
        if not self.cuts:
            return ()
        fit = np.exp(self.likelihood).mean(axis=0)
        quiet = np.array([not cut.chattered or cut.chatter_hz is None for cut in self.cuts])
        limit = np.where(quiet, CONTRADICTED, CONTRADICTED * STRAY_DENSITY)
        return tuple(int(index) for index in np.flatnonzero(fit < limit))


def first_belief(prior: Prior, population: int = POPULATION) -> Belief:
    """What is believed before any cut."""
    rng = np.random.default_rng(SEED)
    half = rng.standard_normal((population // 2, prior.dimensions))
    return Belief(prior=prior, latent=np.concatenate([half, -half]), likelihood=np.zeros((2 * len(half), 0)))


def learn(belief: Belief, cut: PastCut) -> Belief:
    """Take in one more cut.

    A line is narrow, so copies of the systems whose frequencies are scaled to ring at it compete with those
    that put it down to something else. Any other cut is let in by stages that leave enough of the systems
    with weight. Each time the population is drawn anew and every system takes steps of a Markov chain.
    """
    rng = np.random.default_rng([SEED, len(belief.cuts)])
    if len(belief.cuts) >= MOST_CUTS:
        belief = replace(belief, cuts=belief.cuts[1:], likelihood=belief.likelihood[:, 1:])
    cuts = (*belief.cuts, cut)
    if cut.chatter_hz is not None:
        latent, past = _at_the_line(belief, cut, rng)
        for _ in range(2 * MOVES):
            latent, past = _moved(belief.prior, latent, past, cuts, 1.0, rng)
        return Belief(prior=belief.prior, latent=latent, cuts=cuts, likelihood=past)
    new = log_likelihood(belief.prior, belief.latent, (cut,))
    latent, past, done = belief.latent, np.concatenate([belief.likelihood, new], axis=1), 0.0
    for stage in range(STAGES):
        share = 1.0 - done if stage == STAGES - 1 else _stage(past[:, -1], 1.0 - done)
        weight = np.exp(share * (past[:, -1] - past[:, -1].max()))
        keep = _drawn(weight, rng)
        latent, past, done = latent[keep], past[keep], done + share
        for _ in range(MOVES):
            latent, past = _moved(belief.prior, latent, past, cuts, done, rng)
        if done >= 1.0 - 1e-9:
            break
    return Belief(prior=belief.prior, latent=latent, cuts=cuts, likelihood=past)


def _at_the_line(belief: Belief, cut: PastCut, rng: np.random.Generator):
    """Population and likelihoods after a cut whose line was heard.

    For each system the frequency that all others hang on is integrated out: near the line the likelihood is a
    narrow peak of known area, so a copy brought there weighs that area times what was believed of its place.
    """
    prior, latent, usual_mm = belief.prior, belief.latent, _usual_mm((*belief.cuts, cut))
    centre, spread = latent[:, 0].mean(), max(latent[:, 0].std(), 0.02)
    moved = latent.copy()
    for _ in range(SCALINGS):
        line = _lines(prior, moved, cut, usual_mm)
        moved[:, 0] += np.clip(np.log(cut.chatter_hz / line), -0.5, 0.5) / prior.frequency_spread
    off = np.log(cut.chatter_hz / _lines(prior, moved, cut, usual_mm)) / LINE_SPREAD
    moved[:, 0] += LINE_SPREAD / prior.frequency_spread * rng.standard_normal(len(moved))
    past = log_likelihood(prior, moved, (*belief.cuts, cut))
    place = -0.5 * ((moved[:, 0] - centre) / spread) ** 2 - np.log(spread * sqrt(2 * np.pi))
    rings = past[:, -1] > log(STRAY_DENSITY)
    area = np.where(rings & (np.abs(off) < 3), place - log(prior.frequency_spread), -np.inf)
    area = area + np.minimum(0.0, past[:, :-1].sum(axis=1) - belief.likelihood.sum(axis=1))
    stay = np.concatenate([belief.likelihood, log_likelihood(prior, latent, (cut,))], axis=1)
    weight = np.exp(np.concatenate([stay[:, -1], area]))
    keep = np.sort(_drawn(weight, rng)[rng.permutation(2 * len(latent))[: len(latent)]])
    return np.concatenate([latent, moved])[keep], np.concatenate([stay, past])[keep]


def _usual_mm(cuts: tuple[PastCut, ...]) -> float:
    """Depth at which a cut is taken whose own nobody typed."""
    typed = [cut.ap_mm for cut in cuts if cut.ap_mm is not None]
    return float(np.median(typed)) if typed else USUAL_AP_MM


def _lines(prior: Prior, latent: np.ndarray, cut: PastCut, usual_mm: float) -> np.ndarray:
    """Strongest line of each system in a cut, Hz."""
    systems, kt = prior.systems(latent)
    force = kt * (cut.ap_mm or usual_mm) / 1e3
    found = spectral_radius(systems, cut.arc_rad, cut.flutes, cut.rpm, force, lines=True)
    return np.maximum(found.line_hz, 1.0)


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


def _moved(prior, latent, past, cuts, share, rng):
    """One step of a Markov chain for every system: towards another's place, or a little at random."""
    count, size = latent.shape
    power = np.ones(len(cuts))
    power[-1] = share
    leap = rng.random(count) < 0.5
    one, other = rng.integers(count, size=(2, count))
    width = 1.7 / sqrt(2 * size) * np.where(rng.random(count) < 0.2, 2.0, 0.6)
    towards = latent + width[:, None] * (latent[one] - latent[other])
    towards += 0.02 * rng.standard_normal((count, size))
    part = rng.random((count, size)) < rng.choice([0.15, 0.5, 1.0], size=(count, 1))
    little = rng.choice([0.08, 0.25, 0.6], size=(count, 1)) * part
    around = np.sqrt(1 - little**2) * latent + little * rng.standard_normal((count, size))
    proposed = np.where(leap[:, None], towards, around)
    fit = log_likelihood(prior, proposed, cuts)
    gain = (fit - past) @ power
    gain += np.where(leap, 0.5 * ((latent**2).sum(axis=1) - (proposed**2).sum(axis=1)), 0.0)
    accepted = np.log(rng.random(count)) < gain
    return np.where(accepted[:, None], proposed, latent), np.where(accepted[:, None], fit, past)


def log_likelihood(prior: Prior, latent: np.ndarray, cuts: tuple[PastCut, ...]) -> np.ndarray:
    """Logarithm of the likelihood of each cut under each system, ``(systems, cuts)``."""
    systems, kt = prior.systems(latent)
    usual_mm = _usual_mm(cuts)
    result = np.empty((len(latent), len(cuts)))
    groups: dict = {}
    for index, cut in enumerate(cuts):
        groups.setdefault((cut.arc_rad, cut.flutes, cut.chatter_hz is not None), []).append(index)
    for (arc, flutes, has_line), members in groups.items():
        many = systems.pick(np.repeat(np.arange(len(latent)), len(members)))
        rpm = np.tile([cuts[index].rpm for index in members], len(latent))
        depth = np.tile([cuts[index].ap_mm or usual_mm for index in members], len(latent))
        force = np.repeat(kt, len(members)) * depth / 1e3
        found = spectral_radius(many, arc, flutes, rpm, force, lines=has_line)
        shape = (len(latent), len(members))
        growth = np.log(np.maximum(found.radius, 1e-9)).reshape(shape)
        line = found.line_hz.reshape(shape) if has_line else None
        for place, index in enumerate(members):
            own = None if line is None else line[:, place]
            result[:, index] = _one(cuts[index], growth[:, place], own)
    return result


def _one(cut: PastCut, growth: np.ndarray, line_hz: np.ndarray | None) -> np.ndarray:
    """Logarithm of the likelihood of one cut."""
    edge = EDGE if cut.ap_mm is not None else 8 * EDGE
    rings = 0.5 + 0.5 * np.tanh(growth / (2 * edge))
    right, wrong = (rings, 1 - rings) if cut.chattered else (1 - rings, rings)
    if line_hz is None:
        return np.log((1 - WRONG_LABEL) * right + WRONG_LABEL * wrong)
    miss = np.log(np.maximum(line_hz, 1e-3) / cut.chatter_hz) / LINE_SPREAD
    near = np.exp(-0.5 * miss**2) / (LINE_SPREAD * sqrt(2 * np.pi))
    heard = (1 - STRAY_SHARE) * near + STRAY_SHARE * STRAY_DENSITY
    return np.log((1 - WRONG_LABEL) * right * heard + WRONG_LABEL * wrong * STRAY_DENSITY)


def belief_state(belief: Belief) -> dict:
    """The belief as plain data, ``shopmon.belief/1``."""
    return {
        "schema": SCHEMA,
        "prior": asdict(belief.prior),
        "latent": np.round(belief.latent, 5).tolist(),
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
        latent = np.array(state["latent"], dtype=float)
        cuts = tuple(PastCut(**cut) for cut in state["cuts"])
    except (KeyError, TypeError, ValueError) as error:
        why = error.text if isinstance(error, SettingError) else f"{error!r}."
        raise SettingError(f"The belief cannot be read: {why}", "Learn it anew from the log.") from error
    good = latent.ndim == 2 and latent.shape[1] == prior.dimensions and bool(np.isfinite(latent).all())
    require(good, "The belief holds numbers that cannot be.", "Learn it anew from the log.")
    return Belief(prior=prior, latent=latent, cuts=cuts, likelihood=log_likelihood(prior, latent, cuts))
