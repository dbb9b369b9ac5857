"""The zeroth-order solution on measured responses, and what it must refuse."""

import numpy as np
import pytest

from shopmon.cutting.nouns import FrequencyResponse, Mode
from shopmon.cutting.stability.semidiscretization import CutCase
from shopmon.cutting.stability.tip_receptance import receptance_of_modes, receptance_of_responses
from shopmon.cutting.stability.zeroth_order import lobe_points, zeroth_order_limits
from shopmon.errors import SettingError

MODES = (
    Mode(axis="x", frequency_hz=1450.0, damping_ratio=0.03, stiffness_n_per_m=8e6),
    Mode(axis="x", frequency_hz=2600.0, damping_ratio=0.02, stiffness_n_per_m=3e7),
    Mode(axis="y", frequency_hz=1620.0, damping_ratio=0.025, stiffness_n_per_m=9e6),
)
RPM = np.linspace(4000, 24000, 80)


def cut(**changes):
    usual = {
        "flutes": 3, "diameter_mm": 10.0, "kt_n_per_mm2": 800.0, "kr": 0.25, "milling": "climb", "ae_mm": 5.0
    }  # fmt: skip
    return CutCase(**{**usual, **changes})


def measured(step_hz=2.0, low_hz=400.0, high_hz=5000.0, axes="xy"):
    frequency = np.arange(low_hz, high_hz, step_hz)
    return tuple(FrequencyResponse.of_modes(MODES, axis, frequency) for axis in axes)


def test_a_measured_response_gives_what_its_modes_give():
    exact, _ = zeroth_order_limits(cut(), *receptance_of_modes(MODES), RPM)
    found, _ = zeroth_order_limits(cut(), *receptance_of_responses(measured()), RPM)
    np.testing.assert_allclose(found, exact, rtol=3e-3)


def test_axes_turned_by_any_angle_with_cross_terms():
    # equal modes in x and y are the same in every direction: turning the axes by hand must change nothing
    modes = tuple(
        Mode(axis=axis, frequency_hz=1450.0, damping_ratio=0.03, stiffness_n_per_m=8e6) for axis in "xy"
    )
    plain, lines = receptance_of_modes(modes)
    turn = np.array([[0.8, -0.6], [0.6, 0.8]])
    turned, _ = zeroth_order_limits(cut(), lambda f: turn @ plain(f) @ turn.T, lines, RPM)
    np.testing.assert_allclose(turned, zeroth_order_limits(cut(), plain, lines, RPM)[0], rtol=1e-6)


def test_cross_terms_count():
    frequency = np.arange(400.0, 5000.0, 2.0)
    direct = measured()
    cross = FrequencyResponse(
        frequency_hz=frequency, receptance_m_per_n=0.4 * direct[0].receptance_m_per_n, direction="xy"
    )
    with_cross, _ = zeroth_order_limits(cut(), *receptance_of_responses((*direct, cross)), RPM)
    without, _ = zeroth_order_limits(cut(), *receptance_of_responses(direct), RPM)
    assert np.abs(with_cross / without - 1).max() > 0.05


def test_roots_are_followed():
    receptance, lines = receptance_of_modes(MODES)
    inverse = 1 / lobe_points(cut(), receptance, lines).root
    steps = np.abs(np.diff(inverse, axis=0))
    crossed = np.abs(inverse[1:] - inverse[:-1, ::-1])
    assert (steps.sum(axis=1) <= crossed.sum(axis=1) + 1e-15).all()


@pytest.mark.parametrize(
    ("responses", "why"),
    [
        ((), "at least one"),
        (measured(step_hz=80.0), "sharper than the spacing"),
        (measured(low_hz=1600.0), "end of the range"),
        (measured(high_hz=1300.0), "end of the range"),
        (measured(axes="x") * 2, "twice"),
        ((FrequencyResponse(
            frequency_hz=np.arange(10.0), receptance_m_per_n=np.ones(10, complex), direction="xy"
        ),), "Cross"),
        ((FrequencyResponse(frequency_hz=np.arange(4.0), receptance_m_per_n=np.ones(4, complex)),), "coarse"),
    ],
)  # fmt: skip
def test_a_response_that_cannot_tell_is_refused(responses, why):
    with pytest.raises(SettingError, match=why):
        receptance_of_responses(responses)


def test_what_is_no_cut_is_refused():
    for changes in ({"flutes": 0}, {"ae_mm": 12.0}, {"kt_n_per_mm2": -1.0}, {"diameter_mm": 0.0}):
        with pytest.raises(SettingError):
            cut(**changes)
    with pytest.raises(SettingError, match="equal pitch"):
        lobe_points(cut(pitch_deg=(110.0, 120.0, 130.0)), *receptance_of_modes(MODES))
    with pytest.raises(SettingError, match="not finite"):
        lobe_points(cut(), lambda f: np.full((*f.shape, 2, 2), np.nan, complex), np.array([100.0, 200.0]))
    with pytest.raises(SettingError, match="mode"):
        receptance_of_modes(())
