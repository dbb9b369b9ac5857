"""The sentence on a tool's card."""

import pytest

from shopmon.cutting.life.weibull import Remaining
from shopmon.cutting.life.words import basis_sentence, life_sentence, minutes_text


def left(lower, upper, *, age=34.0, ended=6, in_use=0):
    """Return a remaining life."""
    return Remaining(
        age_min=age, lower_min=lower, median_min=(lower + upper) / 2, upper_min=upper, likely=0.8,
        ended=ended, in_use=in_use,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("lower", "upper", "age", "said"),
    [
        (20.3, 49.6, 34, "34 min in the cut, likely 20 to 50 more"),
        (0.4, 12.2, 34, "34 min in the cut, likely up to 12 more"),
        (0.1, 0.6, 34, "34 min in the cut, likely less than 1 min more"),
        (12, 4000, 34, "34 min in the cut, likely at least 12 more"),
        (0.2, 4000, 0.4, "under 1 min in the cut; how much longer cannot be told yet"),
        (64, 143, 7.5, "7.5 min in the cut, likely 64 to 140 more"),
        (95, 250, 130, "130 min in the cut, likely 1.6 to 4.2 h more"),
        (40, 90, 200, "3.3 h in the cut, likely 40 to 90 min more"),
    ],
)
def test_the_sentence(lower, upper, age, said):
    assert life_sentence(age, left(lower, upper, age=age), 150) == said


def test_what_it_rests_on():
    assert (
        basis_sentence(left(1, 2))
        == "Likely means four times in five; from 6 of this kind that came to their end."
    )
    assert basis_sentence(left(1, 2, ended=3, in_use=2)).endswith(
        "and 2 that had not. With so few the range is wide."
    )


@pytest.mark.parametrize(
    ("minutes", "text"),
    [(0.2, "under 1 min"), (1, "1 min"), (99.6, "100 min"), (150, "150 min"), (312, "5.2 h"), (1200, "20 h")],
)
def test_minutes(minutes, text):
    assert minutes_text(minutes) == text
