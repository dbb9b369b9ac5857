"""Lobes by the zeroth-order solution against a full worked example, and where it may not be believed.

Method: Y. Altintas, E. Budak, CIRP Annals 44/1 (1995) 357–362. The formulas of α were read in a public script
quoting Y. Altintas, *Manufacturing Automation*, 2012, p. 156. The inputs of set-up A are recalled as those of
the 1995 paper; the numbers do not depend on that: at every one of them the spectral radius of the
time-averaged delay equation is 1 to within 1e-8, by Chebyshev collocation in an unrelated program.
"""

import numpy as np
import pytest

from shopmon.cutting.stability.depth_limits import depth_limits
from shopmon.cutting.stability.tip_receptance import receptance_of_modes
from shopmon.cutting.stability.zeroth_order import averaged_directions, lobe_points, zeroth_order_limits
from tests.published.milling_points import bench_case, two_direction_case

HALF_UP = two_direction_case("A", 0.5, "conventional")

# chatter frequency, useful Λ in N/m, limit in mm, speeds in rpm on lobes 0 to 3
WORKED = [
    (640, -310925.98 - 31862.06j, 1.096734, (27379.99, 8722.35, 5187.45, 3691.43)),
    (590, -93764.62 + 427072.85j, 7.11734, (12671.7, 6110.17, 4025.65, 3001.62)),
    (620, -278294.66 + 116161.35j, 1.14068, (19812.6, 7626.71, 4722.25, 3419.87)),
    (660, -252025.10 - 209542.11j, 1.48788, (47275.4, 10318.83, 5791.47, 4025.35)),
    (680, -146234.25 - 487222.31j, 6.17692, (146530, 12444.93, 6498.43, 4397.29)),
]

# set-up, ae/D, cut, rpm, limit in mm, chatter frequency in Hz
ENVELOPE = [
    ("A", 0.5, "conventional", 4000, 1.41934, 658.71),
    ("A", 0.5, "conventional", 6000, 1.94574, 665.45),
    ("A", 0.5, "conventional", 8000, 1.09536, 626.91),
    ("A", 0.5, "conventional", 10000, 1.33963, 656.86),
    ("A", 0.5, "conventional", 12000, 4.03354, 675.15),
    ("A", 0.5, "conventional", 15000, 1.95797, 603.36),
    ("A", 0.5, "conventional", 20000, 1.13442, 620.58),
    ("A", 0.5, "climb", 4000, 4.02662, 679.85),
    ("A", 0.5, "climb", 6000, 4.89582, 696.94),
    ("A", 0.5, "climb", 8000, 3.66079, 622.65),
    ("A", 0.5, "climb", 10000, 4.22999, 685.88),
    ("A", 0.5, "climb", 12000, 9.05422, 732.97),
    ("A", 0.5, "climb", 20000, 3.52058, 607.58),
    ("B", 1.0, "slot", 4000, 0.83185, 1514.95),
    ("B", 1.0, "slot", 10000, 1.24591, 1645.49),
    ("B", 1.0, "slot", 12000, 0.85729, 1529.95),
    ("B", 1.0, "slot", 18000, 0.79780, 1483.96),
    ("B", 0.25, "climb", 4000, 6.00927, 1733.35),
    ("B", 0.25, "climb", 8000, 10.0685, 1449.93),
    ("B", 0.25, "climb", 12000, 3.18434, 1667.25),
    ("B", 0.5, "climb", 4000, 4.14654, 1512.86),
    ("B", 0.5, "climb", 8000, 3.60966, 1459.03),
    ("B", 0.5, "climb", 10000, 5.04255, 1698.26),
    ("B", 0.5, "climb", 12000, 4.35188, 1530.29),
    ("B", 0.5, "climb", 18000, 3.61363, 1664.40),
]

# One mode (T. Insperger, G. Stépán, IJNME 61 (2004) 117–141), same program: ae/D, cut, rpm, zeroth order, mm
ONE_MODE = [
    (0.05, "climb", 5000, 2.577),
    (0.05, "climb", 10000, 8.437),
    (0.05, "climb", 18000, 4.957),
    (0.10, "climb", 18000, 2.765),
    (0.50, "climb", 12000, 0.648),
    (1.00, "slot", 5000, 0.370),
    (1.00, "slot", 12000, 1.431),
]


def limits(case, rpm):
    return zeroth_order_limits(case, *receptance_of_modes(case.modes), rpm)


def test_directions_of_half_immersion():
    wanted = [[-1.109956, -1.640796], [1.500796, 0.890044]]
    np.testing.assert_allclose(averaged_directions(HALF_UP), wanted, atol=1e-6)


def test_receptances_of_the_worked_point():
    receptance, _ = receptance_of_modes(HALF_UP.modes)
    (matrix,) = receptance(np.array([640.0]))
    assert matrix[0, 0] == pytest.approx(-9.901558e-7 - 6.480710e-7j, rel=1e-6)
    assert matrix[1, 1] == pytest.approx(1.289818e-6 - 1.133350e-6j, rel=1e-6)


@pytest.mark.parametrize(("frequency_hz", "root", "ap_mm", "speeds"), WORKED)
def test_worked_lobes(frequency_hz, root, ap_mm, speeds):
    receptance, _ = receptance_of_modes(HALF_UP.modes)
    points = lobe_points(HALF_UP, receptance, np.array([float(frequency_hz)]))
    useful = int(np.nanargmin(points.ap_mm[0]))
    assert points.root[0, useful] == pytest.approx(root, rel=1e-6)
    assert points.ap_mm[0, useful] == pytest.approx(ap_mm, abs=1e-5)
    assert np.isnan(points.ap_mm[0, 1 - useful])
    for lobe, rpm in enumerate(speeds):
        assert points.rpm(3, lobe)[0, useful] == pytest.approx(rpm, rel=1e-5)


@pytest.mark.parametrize(
    ("milling", "ap_mm", "frequency_hz"), [("conventional", 1.08683, 632.98), ("climb", 3.51941, 606.46)]
)
def test_lowest_point_of_all_lobes(milling, ap_mm, frequency_hz):
    case = two_direction_case("A", 0.5, milling)
    receptance, _ = receptance_of_modes(case.modes)
    points = lobe_points(case, receptance, np.linspace(500, 900, 40001))
    place = np.unravel_index(np.nanargmin(points.ap_mm), points.ap_mm.shape)
    assert points.ap_mm[place] == pytest.approx(ap_mm, abs=1e-5)
    assert points.frequency_hz[place[0]] == pytest.approx(frequency_hz, abs=0.02)


@pytest.mark.parametrize(("setup", "ae", "milling", "rpm", "ap_mm", "frequency_hz"), ENVELOPE)
def test_lower_envelope(setup, ae, milling, rpm, ap_mm, frequency_hz):
    found_mm, found_hz = limits(two_direction_case(setup, ae, milling), [rpm])
    assert found_mm[0] == pytest.approx(ap_mm, abs=2e-4)
    assert found_hz[0] == pytest.approx(frequency_hz, abs=0.02)


@pytest.mark.parametrize(("ae", "milling", "rpm", "ap_mm"), ONE_MODE)
def test_one_mode(ae, milling, rpm, ap_mm):
    assert limits(bench_case(ae, milling), [rpm])[0][0] == pytest.approx(ap_mm, abs=1e-3)


def test_two_direction_slots_agree_with_the_full_equation():
    case, rpm = two_direction_case("B", 1.0, "slot"), np.array([4000.0, 10000, 12000, 18000])
    np.testing.assert_allclose(limits(case, rpm)[0], depth_limits(case, rpm, 5.0), rtol=0.065)


def test_low_immersion_promises_too_much():
    # 5 % climb at 18000 rpm: 4.957 promised, 1.295 true (a flip); quarter climb, set-up B, 4000 rpm: 6.009
    # and 2.955. That is why semi-discretization decides.
    flip, hopf = bench_case(0.05, "climb"), two_direction_case("B", 0.25, "climb")
    assert limits(flip, [18000])[0][0] / depth_limits(flip, [18000], 8.0)[0] == pytest.approx(3.83, abs=0.02)
    assert limits(hopf, [4000])[0][0] / depth_limits(hopf, [4000], 8.0)[0] == pytest.approx(2.03, abs=0.02)
