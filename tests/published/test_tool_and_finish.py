"""Chip thickness, power, bending and finish against published formulas, worked out by hand or quadrature."""

from math import pi

import numpy as np
import pytest

from shopmon.cutting.chips import mean_chip_mm, thinning_factor
from shopmon.cutting.finishing.deflection import cantilever
from shopmon.cutting.finishing.marks import cusp_um, floor_um, marking_teeth, ra_um, scallop_um, wall_um
from shopmon.cutting.forces import EdgeForces, turn_forces
from shopmon.cutting.nouns import EndMillType
from shopmon.cutting.power import kienzle_n_per_mm2, power_kw, removal_rate_cm3_per_min, torque_nm
from shopmon.cutting.stability.semidiscretization import CutCase


# Trade practice, computed from the geometry of the arc: factor on the feed for the same thickest chip.
@pytest.mark.parametrize(("share", "factor"), [(0.05, 2.294), (0.10, 1.667), (0.20, 1.250), (0.30, 1.091)])
def test_chip_thinning(share, factor):
    assert thinning_factor(10 * share, 10) == pytest.approx(factor, abs=5e-4)
    assert thinning_factor(7.0, 10) == 1.0


# hm = fz (2 ae/D)/φe
@pytest.mark.parametrize(("share", "mean"), [(0.05, 0.2217), (0.10, 0.3108), (0.50, 0.6366)])
def test_mean_chip(share, mean):
    assert mean_chip_mm(1.0, 10 * share, 10) == pytest.approx(mean, abs=5e-5)


def test_kienzle_and_power():
    # C45 after König & Essel (recalled): 2220 N/mm², 0.14; h 0.1 mm, b 2 mm gives 612.9 N
    assert kienzle_n_per_mm2(2220, 0.14, 0.1) * 0.1 * 2 == pytest.approx(612.9, abs=0.05)
    assert removal_rate_cm3_per_min(2, 5, 1500) == pytest.approx(15.0)
    assert power_kw(800, 15) == pytest.approx(0.200)


# δ = F L³/(3 E I), I = π d⁴/64, d = 0.8 D (common practice), E = 600 GPa: any textbook of statics
@pytest.mark.parametrize(
    ("diameter", "length", "force", "bent_um", "stiffness"),
    [
        (10, 30, 100, 7.46039, 13.404),
        (6, 20, 50, 8.52811, 5.8630),
        (6, 24, 50, 14.73657, 3.3929),
        (12, 50, 200, 33.31292, 6.0037),
    ],
)
def test_cantilever(diameter, length, force, bent_um, stiffness):
    tool = cantilever(EndMillType(DC=diameter), length)
    assert force * float(tool.compliance_um_per_n(0, 0)) == pytest.approx(bent_um, rel=1e-5)
    assert tool.tip_stiffness_n_per_um == pytest.approx(stiffness, rel=1e-4)


def test_stickout_and_diameter_rules():
    # L³/D⁴: three to four diameters of stickout ×2.370, 6 to 8 mm diameter ÷3.160
    def stiffness(diameter, length):
        return cantilever(EndMillType(DC=diameter), length).tip_stiffness_n_per_um

    assert stiffness(10, 30) / stiffness(10, 40) == pytest.approx(2.370, abs=1e-3)
    assert stiffness(8, 30) / stiffness(6, 30) == pytest.approx(3.160, abs=1e-3)


def test_floor_of_a_corner_radius():
    # f²/(8r): 6.250 µm, of the true arc 6.2746; Ra 1.6088 by quadrature; Rz/Ra of cusps 3.8971
    assert floor_um(0.2, 0.8) == pytest.approx(6.2746, abs=1e-4)
    assert floor_um(0.2, 0.8) == pytest.approx(1000 * 0.2**2 / (8 * 0.8), rel=0.005)
    assert ra_um(6.2746) == pytest.approx(1.6088, rel=2e-3)
    assert 1 / ra_um(1.0) == pytest.approx(3.8971, abs=1e-3)


@pytest.mark.parametrize(("step", "radius", "height"), [(0.3, 3.0, 3.7523), (0.5, 5.0, 6.2539)])
def test_scallops_of_a_ball_end(step, radius, height):
    assert scallop_um(step, radius) == pytest.approx(height, abs=1e-4)


def test_wall_of_equal_teeth():
    # fz²/(4D) = 0.25 µm; M. E. Martellotti, Trans. ASME 63 (1941) 677: exact trochoid 0.24530 and 0.25485
    assert cusp_um(0.1, 5.0) == pytest.approx(0.2500, abs=1e-4)
    assert wall_um(0.1, 3, 10, "conventional") == pytest.approx(0.24530, abs=5e-5)
    assert wall_um(0.1, 3, 10, "climb") == pytest.approx(0.25485, abs=5e-5)


def test_wall_with_runout():
    # One tooth leads: (N fz)²/(4D) = 2.25 µm. Trochoid with teeth 0, −2, −3 µm: 2.2080. Two teeth, the second
    # 0.5 µm low: 0.560. A tooth lower than fz²/D = 1.0 µm leaves no mark. All by an unrelated program.
    assert cusp_um(0.3, 5.0) == pytest.approx(2.250, abs=1e-3)
    assert wall_um(0.1, 3, 10, "conventional", (0, -2, -3)) == pytest.approx(2.2080, abs=5e-4)
    assert wall_um(0.1, 2, 10, "conventional", (0, -0.5)) == pytest.approx(0.560, abs=3e-3)
    assert marking_teeth(0.1, 10, (0, -0.98)) == 2
    assert marking_teeth(0.1, 10, (0, -1.02)) == 1


def test_mean_forces_of_a_slot():
    # F̄x = −N a (Krc fz/4 + Kre/π), F̄y = N a (Ktc fz/4 + Kte/π): the averages from which coefficients are
    # measured (E. Budak, Y. Altintas, E. J. A. Armarego, J. Manuf. Sci. Eng. 118, 1996, 216; recalled)
    forces = EdgeForces(ktc_n_per_mm2=767.01, krc_n_per_mm2=168.8, kte_n_per_mm=27.7, kre_n_per_mm=26.6)
    for helix in (0.0, 30.0, 45.0):
        slot = CutCase(
            flutes=3, diameter_mm=6.0, kt_n_per_mm2=767.01, kr=0.22, milling="slot", helix_deg=helix
        )
        found = turn_forces(slot, forces, 0.05, 2.0, steps=3600)
        assert found.fx_n.mean() == pytest.approx(-3 * 2 * (168.8 * 0.05 / 4 + 26.6 / pi), rel=1e-3)
        assert found.fy_n.mean() == pytest.approx(3 * 2 * (767.01 * 0.05 / 4 + 27.7 / pi), rel=1e-3)


def test_power_of_the_forces_is_that_of_the_removal_rate():
    # without edge forces P = Ktc · removal rate, whatever the arc and helix
    cut = CutCase(
        flutes=3, diameter_mm=10, kt_n_per_mm2=800, kr=0.3, milling="climb", ae_mm=2.0, helix_deg=35
    )
    found = turn_forces(cut, EdgeForces(ktc_n_per_mm2=800, krc_n_per_mm2=240), 0.05, 4.0, steps=3600)
    rate = removal_rate_cm3_per_min(4.0, 2.0, 0.05 * 3 * 12000)
    assert found.mean_power_kw(12000) == pytest.approx(power_kw(800, rate), rel=1e-4)
    assert torque_nm(found.mean_power_kw(12000), 12000) == pytest.approx(found.torque_nm.mean(), rel=1e-9)
    assert np.all(found.torque_nm >= 0)
