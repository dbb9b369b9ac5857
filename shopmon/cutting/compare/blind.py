"""A blind trial: which end mill cuts which part is drawn at random, and parts are graded by code.

Whoever puts the end mill in knows which it is; whoever grades the part only sees its code. The key is opened
when every grade is in.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shopmon.cutting.nouns import require

LETTERS = "ACDEFHJKLMNPRTVWXY"  # none that is taken for another, or for a digit
DIGITS = "34679"
MOST_PARTS = 200


@dataclass(frozen=True, kw_only=True)
class Turn:
    """One part of the trial: its place in the order of cutting, the end mill that cuts it, and its code."""

    number: int
    mill: str
    code: str


@dataclass(frozen=True, kw_only=True)
class BlindPlan:
    """A drawn trial.

    Attributes
    ----------
    seed
        From which the whole plan is drawn again.
    turns
        In the order of cutting.
    grading
        The codes in the order in which the parts are to be looked at: another one.
    """

    seed: int
    turns: tuple[Turn, ...]
    grading: tuple[str, ...]

    def key(self) -> dict[str, str]:
        """Return which end mill cut the part of each code."""
        return {turn.code: turn.mill for turn in self.turns}


def blind_plan(mills: Sequence[str], parts: int, seed: int) -> BlindPlan:
    """Draw a trial.

    Parameters
    ----------
    mills
        Labels of the end mills, two at least. Every block of as many parts as there are end mills has each
        of them once, in an order that is drawn: what drifts meanwhile (heat, wear) hits all alike.
    parts
        As many as can be shared out evenly.
    seed
        Any whole number from 0 up.

    Raises
    ------
    SettingError
        Too few end mills, or parts that cannot be shared out evenly.
    """
    mills = list(dict.fromkeys(mills))
    require(len(mills) >= 2, "A trial needs two end mills at least.", "Choose another one.")
    require(
        len(mills) <= parts <= MOST_PARTS and parts % len(mills) == 0,
        f"{parts} parts cannot be shared out evenly between {len(mills)} end mills.",
        f"Plan {len(mills) * max(round(parts / len(mills)), 2)} parts.",
    )
    require(seed >= 0, f"seed must be 0 or more, not {seed!r}.")
    rng = np.random.default_rng(seed)
    order = [mills[at] for _ in range(parts // len(mills)) for at in rng.permutation(len(mills))]
    every = [f"{first}{digit}{last}" for first in LETTERS for digit in DIGITS for last in LETTERS]
    codes = [every[at] for at in rng.choice(len(every), size=parts, replace=False)]
    turns = tuple(
        Turn(number=number, mill=mill, code=code)
        for number, (mill, code) in enumerate(zip(order, codes, strict=True), start=1)
    )
    return BlindPlan(seed=seed, turns=turns, grading=tuple(codes[at] for at in rng.permutation(parts)))
