"""How often the bounds of tool life hold at few edges, on drawn lives, beside the usual likelihood bounds.

Run: ``python tests/bench/run.py tool_life`` or ``python -m tests.bench.bench_tool_life [draws]``.
"""

import sys

import numpy as np

from shopmon.cutting.compare.lives import compare_lives
from shopmon.cutting.life.chatter_weight import chatter_weight
from shopmon.cutting.life.lifetimes import CannotTell, Lifetime
from shopmon.cutting.life.taylor import taylor_fit
from shopmon.cutting.life.weibull import LEAST_ENDED, WeibullLives

CONFIDENCE, LIKELY = 0.9, 0.8
CHI_SQUARE_90 = 2.7055  # one degree of freedom


def drawn(rng: np.random.Generator, edges: int, shape: float, censored: bool) -> list[Lifetime]:
    """Draw lives of scale 60 min; `censored`: each was taken into use at another time, and some still are."""
    true = 60 * rng.weibull(shape, edges)
    seen = rng.uniform(15, 150, edges) if censored else np.full(edges, np.inf)
    return [
        Lifetime(cut_time_min=min(life, until), cause="worn" if life <= until else None)
        for life, until in zip(true, seen, strict=True)
    ]


def likelihood_bounds_hold(lives: list[Lifetime], shape: float) -> bool:
    """Return whether the profile likelihood with its limit for large samples covers the true shape."""
    minutes = np.array([life.cut_time_min for life in lives]) / 60
    ended = np.array([life.ended for life in lives])

    def profile(tried: np.ndarray) -> np.ndarray:
        power = np.sum(minutes[None, :] ** tried[:, None], axis=1)
        return ended.sum() * np.log(tried / power) + tried * np.sum(np.log(minutes[ended]))

    best = profile(np.geomspace(0.05, 60, 2000)).max()
    return bool(2 * (best - profile(np.array([shape]))[0]) <= CHI_SQUARE_90)


def row(edges: int, shape: float, censored: bool, draws: int) -> str:
    """Return one line of the table."""
    rng = np.random.default_rng(edges * 100 + int(10 * shape) + censored)
    held, used = np.zeros(5), 0
    early = 60 * (-np.log(0.9)) ** (1 / shape)
    while used < draws:
        lives = drawn(rng, edges, shape, censored)
        if sum(life.ended for life in lives) < LEAST_ENDED:
            continue
        used += 1
        known = WeibullLives(lives)
        fit, tenth = known.fit(CONFIDENCE), known.life_bounds_min(0.1, CONFIDENCE)
        age = rng.uniform(5, 40)
        more = 60 * ((age / 60) ** shape + rng.exponential()) ** (1 / shape) - age
        guess = known.remaining(age, LIKELY, counted=False)
        held += (
            fit.shape_bounds[0] <= shape <= fit.shape_bounds[1],
            fit.scale_bounds_min[0] <= 60 <= fit.scale_bounds_min[1],
            tenth[0] <= early <= tenth[1],
            likelihood_bounds_hold(lives, shape),
            guess.lower_min <= more <= guess.upper_min,
        )
    shares = "".join(f"{100 * each / used:9.1f}" for each in held)
    return f"{edges:5d} {shape:6.1f} {'some' if censored else 'none':>9}{shares}"


def taylor_row(each: int, draws: int) -> str:
    """Return how often the bounds of 1/n hold 4, with so many edges at each of three speeds."""
    rng, held = np.random.default_rng(each), 0
    for _ in range(draws):
        lives = [
            Lifetime(cut_time_min=(229 / speed) ** 4 * rng.weibull(3), cause="worn", speed_m_min=speed)
            for speed in (100, 130, 160)
            for _ in range(each)
        ]
        low, high = taylor_fit(lives, CONFIDENCE).bounds
        held += (low or -np.inf) <= 4 <= (high or np.inf)
    return f"{3 * each:5d} edges{100 * held / draws:9.1f}"


def ratio_row(each: int, ratio: float, draws: int) -> str:
    """Return how often the bounds of the ratio of lives hold it, and how often a difference is settled."""
    rng, held, settled, answered = np.random.default_rng(each), 0, 0, 0
    for _ in range(draws):
        sides = [
            [
                Lifetime(cut_time_min=life, cause="worn", stratum=number % 2)
                for number, life in enumerate(60 * factor * rng.weibull(2.5, each))
            ]
            for factor in (1.0, ratio)
        ]
        found = compare_lives(*sides, CONFIDENCE)
        if isinstance(found, CannotTell):
            continue
        answered += 1
        low, high = found.bounds
        held += (low or 0) <= ratio <= (high or np.inf)
        settled += found.settled
    return f"{each:5d} of each, ratio {ratio:g}{100 * held / answered:9.1f}{100 * settled / answered:9.1f}"


def chatter_row(edges: int, weight: float, draws: int) -> str:
    """Return how often chatter is told apart from quiet time, and how often the bounds hold the weight."""
    rng, apart, held, answered = np.random.default_rng(edges), 0, 0, 0
    for _ in range(draws):
        share = rng.uniform(0, 0.6, edges)
        minutes = 60 * rng.weibull(2.5, edges) / (1 + (weight - 1) * share)
        lives = [
            Lifetime(cut_time_min=total, cause="worn", chatter_min=total * part)
            for total, part in zip(minutes, share, strict=True)
        ]
        found = chatter_weight(lives)
        if isinstance(found, CannotTell):
            continue
        answered += 1
        low, high = found.bounds
        apart += found.told_apart
        held += (low or 0) <= weight <= (high or np.inf)
    return f"{edges:5d} edges, weight {weight:g}{100 * apart / answered:9.1f}{100 * held / answered:9.1f}"


def main(draws: int = 400) -> None:
    """Print how often each pair of bounds holds the truth."""
    print(
        f"{draws} draws a line; shape, scale and B10 should lie within bounds in 90 %, remaining life in 80 %"
    )
    print("edges  shape  censored   shape    scale      B10  (usual)     remaining")
    for edges, shape, censored in (
        (2, 2.0, False), (3, 2.0, False), (5, 2.0, False), (5, 4.0, False), (10, 2.0, False),
        (4, 2.0, True), (8, 2.0, True), (20, 3.0, True),
    ):  # fmt: skip
        print(row(edges, shape, censored, draws))
    print("\nTaylor, n = 0.25: the bounds of 1/n should hold in 90 %")
    for each in (2, 4, 8):
        print(taylor_row(each, draws))
    print("\nratio of lives: held (90 % wanted), settled (5 % allowed where the ratio is 1)")
    for each, ratio in ((4, 1.0), (8, 1.0), (4, 2.0), (8, 2.0), (8, 1.3)):
        print(ratio_row(each, ratio, draws))
    print("\nchatter: told apart (5 % allowed where the weight is 1), held (95 % wanted)")
    for edges, weight in ((6, 1.0), (12, 1.0), (30, 1.0), (12, 3.0), (30, 3.0)):
        print(chatter_row(edges, weight, draws))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
