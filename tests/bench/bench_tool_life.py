"""How often the bounds of tool life hold at few edges, on drawn lives, beside the usual likelihood bounds.

Run: ``python tests/bench/run.py tool_life`` or ``python -m tests.bench.bench_tool_life [draws]``.
"""

import sys

import numpy as np

from shopmon.cutting.life.lifetimes import Lifetime
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


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
