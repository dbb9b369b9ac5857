"""What a tool's card says of the time that is left."""

import pytest

from shopmon.cutting.life.lifetimes import CannotTell
from shopmon.cutting.life.weibull import Remaining
from shopmon.cutting.life.words import basis_sentence, more_words


def left(lower, upper, *, age=34.0, ended=6, in_use=0):
    """Return a remaining life."""
    return Remaining(
        age_min=age, lower_min=lower, median_min=(lower + upper) / 2, upper_min=upper, likely=0.8,
        ended=ended, in_use=in_use,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("lower", "upper", "age", "said"),
    [
        (20.3, 49.6, 34, "20 to 50 min more"),
        (0.4, 12.2, 34, "up to 12 min more"),
        (0.1, 0.6, 34, "less than 1 min more"),
        (12, 4000, 34, "at least 12 min more"),
        (0.2, 4000, 0.4, ""),
        (7.21, 114, 7.5, "7.2 to 110 min more"),
        (95, 250, 130, "1.6 to 4.2 h more"),
    ],
)
def test_what_is_left(lower, upper, age, said):
    assert more_words(left(lower, upper, age=age), 150) == said


def test_what_cannot_be_told_is_not_said():
    assert more_words(CannotTell(reason="None has come to its end."), 0) == ""


def test_what_it_rests_on():
    assert (
        basis_sentence(left(1, 2))
        == "Likely means four times in five; from 6 of this kind that came to their end."
    )
    assert basis_sentence(left(1, 2, ended=3, in_use=2)).endswith(
        "and 2 that had not. With so few the range is wide."
    )
