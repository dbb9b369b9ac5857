"""The batch of many cuts against semi-discretization, on systems drawn at random."""

import numpy as np
import pytest

from shopmon.cutting.geometry import entry_exit
from shopmon.cutting.nouns import Mode
from shopmon.cutting.stability.many_cuts import Systems, _element, spectral_radius
from shopmon.cutting.stability.semidiscretization import StabilityCase, stability

CASES = [
    ("xyy", "climb", 0.1, 6, 15719.0, 2.35),
    ("xyy", "climb", 0.6, 6, 12000.0, 1.46),
    ("xy", "conventional", 0.3, 2, 21000.0, 1.2),
    ("y", "slot", 1.0, 3, 13300.0, 0.6),
    ("xxy", "slot", 1.0, 4, 14700.0, 0.7),
    ("x", "conventional", 0.6, 5, 14000.0, 0.35),
    ("yx", "climb", 0.9, 7, 9000.0, 0.2),
]


def _case(modes, milling, share, flutes):
    return StabilityCase(
        modes=modes,
        flutes=flutes,
        diameter_mm=10.0,
        kt_n_per_mm2=800.0,
        kr=0.3,
        milling=milling,
        ae_mm=10.0 * share,
    )


@pytest.mark.parametrize(("axes", "milling", "share", "flutes", "rpm", "ap_mm"), CASES)
def test_agrees_with_semidiscretization(axes, milling, share, flutes, rpm, ap_mm):
    rng = np.random.default_rng(len(axes) + flutes)
    frequency = rng.uniform(700, 2000, len(axes))
    damping = rng.uniform(0.01, 0.05, len(axes))
    stiffness = 10 ** rng.uniform(6.4, 7.2, len(axes))
    modes = tuple(
        Mode(axis=axis, frequency_hz=f, damping_ratio=z, stiffness_n_per_m=k)
        for axis, f, z, k in zip(axes, frequency, damping, stiffness, strict=True)
    )
    case = _case(modes, milling, share, flutes)
    wanted = stability(case, rpm, ap_mm)
    systems = Systems(axes, frequency[None], damping[None], stiffness[None], np.array([0.3]))
    arc = entry_exit(milling, share, 1.0)
    found = spectral_radius(systems, arc, flutes, rpm, 800e3 * ap_mm, lines=True)
    assert found.radius[0] == pytest.approx(wanted.spectral_radius, rel=0.004)
    assert found.line_hz[0] == pytest.approx(wanted.line_hz, rel=0.002)


@pytest.mark.parametrize(
    ("milling", "share", "flutes", "rpm", "ap_mm"),
    [("slot", 1.0, 1, 2600.0, 0.4), ("slot", 1.0, 1, 4200.0, 0.4), ("climb", 0.1, 2, 1500.0, 2.4)],
)
def test_agrees_where_many_waves_lie_between_two_teeth(milling, share, flutes, rpm, ap_mm):
    mode = Mode(axis="y", frequency_hz=1400.0, damping_ratio=0.02, stiffness_n_per_m=4e6)
    assert 60 * mode.frequency_hz / (rpm * flutes) > 19
    case = _case((mode,), milling, share, flutes)
    wanted = stability(case, rpm, ap_mm).spectral_radius
    system = Systems("y", np.array([[1400.0]]), np.array([[0.02]]), np.array([[4e6]]), np.array([0.3]))
    found = spectral_radius(system, entry_exit(milling, share, 1.0), flutes, rpm, 800e3 * ap_mm)
    assert found.radius[0] == pytest.approx(wanted, rel=0.01)


@pytest.mark.parametrize("count", [4, 21, 150])
def test_an_element_integrates_polynomials_up_to_every_node(count):
    points, weights, tensor = _element(count)
    uppers = np.append(points, 1.0)
    for power in (0, 1, 3):
        integral = tensor.sum(axis=1) @ points**power
        assert integral == pytest.approx(uppers ** (power + 1) / (power + 1), abs=2e-6)
    assert weights.sum() == pytest.approx(1)


def test_one_batch_gives_what_each_alone_gives():
    rng = np.random.default_rng(3)
    count = 40
    systems = Systems(
        "xy",
        rng.uniform(500, 3000, (count, 2)),
        rng.uniform(0.01, 0.05, (count, 2)),
        10 ** rng.uniform(6, 7, (count, 2)),
        rng.uniform(0.1, 0.6, count),
    )
    rpm = rng.uniform(4000, 20000, count)
    arc = entry_exit("climb", 0.3, 1.0)
    together = spectral_radius(systems, arc, 4, rpm, 5e5).radius
    alone = [spectral_radius(systems.pick([i]), arc, 4, rpm[i], 5e5).radius[0] for i in range(count)]
    assert together == pytest.approx(np.array(alone), rel=1e-4)
