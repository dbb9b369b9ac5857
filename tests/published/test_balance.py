"""Balance against published examples."""

import pytest

from shopmon.errors import RecordingError, SettingError
from shopmon.signals.spindle.balance import balance_grade, imbalance, missing_for_grade


@pytest.mark.parametrize(
    ("grade", "rpm", "mass_kg", "unbalance_g_mm"),
    [
        # "4 µm" in a tool-holder catalogue, 4.0107 recomputed
        (6.3, 15_000.0, 1.0, 4.0107),
        # the others recomputed from 9549.3 G m / n (ISO 21940-11's formula, retrieved in a public glossary)
        (2.5, 24_000.0, 0.5, 0.49736),
        (2.5, 10_000.0, 0.8, 1.90986),
        (1.0, 20_000.0, 2.0, 0.95493),
    ],
)
def test_grades(grade, rpm, mass_kg, unbalance_g_mm):
    assert balance_grade(unbalance_g_mm, mass_kg, rpm) == pytest.approx(grade, rel=1e-4)


def test_a_grinding_wheel_in_one_plane():
    """The grinding wheel of S. S. Rao, Mechanical Vibrations, ch. 9 (from memory; recomputed by vectors):
    5 mil at 45° before, 8 mil at 80° with 4 oz at 20°: a correction of 4.13 oz.
    """
    found = imbalance((5.0, 45.0), (8.0, 80.0), 4.0, 20.0)
    assert found.unbalance_g_mm == pytest.approx(4.129, abs=0.002)


def test_a_weight_that_is_taken_off_again_is_found():
    """A known imbalance, a known answer of the housing, a trial weight elsewhere."""
    from cmath import phase, rect
    from math import degrees, radians

    answer, there = rect(0.013, 2.1), rect(37.0, radians(250.0))
    before = answer * there
    after = answer * (there + rect(20.0, radians(80.0)))
    as_read = [(abs(each), degrees(phase(each))) for each in (before, after)]
    found = imbalance(*as_read, 20.0, 80.0)
    assert (found.unbalance_g_mm, found.angle_deg) == pytest.approx((37.0, 250.0))


def test_what_tells_nothing_is_said():
    with pytest.raises(RecordingError):
        imbalance((5.0, 45.0), (5.05, 45.0), 4.0)
    with pytest.raises(SettingError):
        imbalance((5.0, 45.0), (8.0, 80.0), 0.0)
    with pytest.raises(SettingError):
        balance_grade(1.0, 0.0, 1000.0)
    assert len(missing_for_grade(mass_kg=None, phases_known=False, trial_g_mm=None)) == 3
    assert missing_for_grade(mass_kg=2.0, phases_known=True, trial_g_mm=10.0) == ()
