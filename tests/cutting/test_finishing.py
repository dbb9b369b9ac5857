"""Forces, bending and finishing passes: what must hold whatever the numbers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.cutting.finishing.deflection import Cantilever, Section, cantilever, wall_error
from shopmon.cutting.finishing.marks import floor_um, wall_um
from shopmon.cutting.finishing.passes import finishing_plans
from shopmon.cutting.finishing.smooth_depths import smooth_depths_mm
from shopmon.cutting.forces import EdgeForces, force_per_mm, turn_forces
from shopmon.cutting.materials import GROUPS, MATERIALS, material
from shopmon.cutting.nouns import EndMillType, Mode
from shopmon.cutting.power import linear_from_kienzle, specific_force_n_per_mm2
from shopmon.cutting.stability.semidiscretization import CutCase, StabilityCase
from shopmon.errors import SettingError

FORCES = EdgeForces.of(material("7075"))
LONG_MILL = EndMillType(DC=6.0, DMM=6.0, APMX=22.0, NOF=3, FHA=45.0)


def wall_cut(**changes):
    usual = {
        "flutes": 3, "diameter_mm": 6.0, "kt_n_per_mm2": 767.0, "kr": 0.22,
        "milling": "climb", "ae_mm": 0.15, "helix_deg": 45.0,
    }  # fmt: skip
    return CutCase(**{**usual, **changes})


@given(split=st.floats(0.05, 0.95), at=st.floats(0, 40), load=st.floats(0, 40))
def test_a_cut_cantilever_is_the_whole_one(split, at, load):
    whole = Cantilever(sections=(Section(length_mm=40, diameter_mm=8),))
    parts = (Section(length_mm=40 * split, diameter_mm=8), Section(length_mm=40 * (1 - split), diameter_mm=8))
    cut = Cantilever(sections=parts)
    one, two = whole.compliance_um_per_n(at, load), cut.compliance_um_per_n(at, load)
    assert float(two) == pytest.approx(float(one), rel=1e-6, abs=1e-12)
    assert float(whole.compliance_um_per_n(load, at)) == pytest.approx(float(one), rel=1e-6, abs=1e-12)


def test_a_thicker_shank_stiffens_and_a_neck_and_a_holder_soften():
    plain = cantilever(EndMillType(DC=6.0, APMX=12.0), 30).tip_stiffness_n_per_um
    stepped = cantilever(EndMillType(DC=6.0, APMX=12.0, DMM=10.0), 30).tip_stiffness_n_per_um
    necked = cantilever(EndMillType(DC=6.0, APMX=12.0, DN=5.5, LU=25.0), 30).tip_stiffness_n_per_um
    held = cantilever(EndMillType(DC=6.0, APMX=12.0), 30, holder_um_per_n=0.1).tip_stiffness_n_per_um
    assert stepped > plain > necked
    assert 1 / held == pytest.approx(1 / plain + 0.1)


@settings(max_examples=25, deadline=None)
@given(helix=st.floats(5, 60), ap_mm=st.floats(0.2, 30), ae_mm=st.floats(0.05, 6.0))
def test_helix_is_a_sum_of_straight_slices(helix, ap_mm, ae_mm):
    slanted = turn_forces(wall_cut(helix_deg=helix, ae_mm=ae_mm), FORCES, 0.05, ap_mm, steps=30)
    lag = 2 * np.tan(np.radians(helix)) / 6.0 * ap_mm
    shifts = (np.arange(4000) + 0.5) / 4000 * lag
    angles = slanted.rotation_rad[:, None, None] + np.arange(3)[:, None] * 2 * np.pi / 3 - shifts
    arc = wall_cut(ae_mm=ae_mm).entry_exit_rad
    slices = force_per_mm(angles, arc, FORCES, 0.05).sum(axis=1).mean(axis=1) * ap_mm
    scale = ap_mm * FORCES.kte_n_per_mm * 4
    np.testing.assert_allclose(slanted.fx_n, slices[:, 0], atol=2e-3 * scale)
    np.testing.assert_allclose(slanted.fy_n, slices[:, 1], atol=2e-3 * scale)


@pytest.mark.parametrize("ae_mm", [0.15, 1.0, 3.0])
def test_smooth_depths_keep_the_force_constant(ae_mm):
    for depth in smooth_depths_mm(6.0, 3, 45.0, 20.0):
        smooth = turn_forces(wall_cut(ae_mm=ae_mm), FORCES, 0.05, depth)
        between = turn_forces(wall_cut(ae_mm=ae_mm), FORCES, 0.05, depth * 0.8)
        assert np.ptp(smooth.fy_n) < 0.02 * np.ptp(between.fy_n)


@pytest.mark.parametrize(("helix", "flutes"), [(0.0, 3), (45.0, 0)])
def test_smooth_depths_need_a_helix_and_flutes(helix, flutes):
    with pytest.raises(SettingError):
        smooth_depths_mm(6.0, flutes, helix, 20.0)


@pytest.mark.parametrize("milling", ["climb", "conventional"])
def test_straight_teeth_at_a_wall_push_with_the_edge_alone(milling):
    # where the tooth makes the wall the chip is nothing: the edge's radial force is all there is
    tool = cantilever(EndMillType(DC=6.0), 26.0)
    cut = wall_cut(milling=milling, helix_deg=0.0, flutes=1)
    found = wall_error(tool, cut, FORCES, 0.05, 10.0)
    height = (np.arange(2000) + 0.5) / 2000 * 10
    wanted = FORCES.kre_n_per_mm * 10 * np.mean(tool.compliance_um_per_n(0.0, height))
    assert found.left_um[0] == pytest.approx(float(wanted), rel=1e-3)


def test_step_downs_bend_less_but_leave_marks():
    tool = cantilever(LONG_MILL, 26.0)
    mode = Mode(axis="y", frequency_hz=1800.0, damping_ratio=0.02, stiffness_n_per_m=2.4e6)
    cut = wall_cut()
    case = StabilityCase(
        modes=(mode,), flutes=3, diameter_mm=6.0, kt_n_per_mm2=767.0, kr=0.22, milling="climb",
        ae_mm=0.15, helix_deg=45.0,
    )  # fmt: skip
    one, three = finishing_plans(tool, case, FORCES, 0.05, 20.0, 9000.0, counts=(1, 3))
    assert one.step_um == 0.0 < three.step_um
    assert three.wall.most_um < one.wall.most_um
    assert three.peak_n < one.peak_n
    assert one.spectral_radius > three.spectral_radius
    assert finishing_plans(tool, cut, FORCES, 0.05, 20.0, 9000.0, counts=(1,))[0].quiet is None


def test_what_cannot_be_finished_is_refused():
    tool = cantilever(LONG_MILL, 26.0)
    for cut, ap_mm in ((wall_cut(milling="slot"), 5.0), (wall_cut(), 30.0), (wall_cut(), float("nan"))):
        with pytest.raises(SettingError):
            wall_error(tool, cut, FORCES, 0.05, ap_mm)
    with pytest.raises(SettingError):
        cantilever(EndMillType(), 20.0)


def test_one_tooth_instead_of_three_marks_nine_times_as_high():
    alike, one = wall_um(0.05, 3, 10, "climb"), wall_um(0.05, 3, 10, "climb", (0, -20, -20))
    assert one == pytest.approx(9 * alike, rel=1e-3)
    assert floor_um(0.1, 0.4, flat_mm=0.1) == 0.0
    assert 0 < floor_um(0.1, 0.4, flat_mm=0.05) < floor_um(0.1, 0.4)


@pytest.mark.parametrize("entry", [*MATERIALS.values(), *GROUPS.values()], ids=lambda entry: entry.label)
def test_coefficients_lie_in_their_range_and_say_where_they_come_from(entry):
    assert entry.kt_low_n_per_mm2 <= entry.ktc_n_per_mm2 <= entry.kt_high_n_per_mm2
    assert 1.2 <= entry.kt_high_n_per_mm2 / entry.kt_low_n_per_mm2 <= 4.5
    assert entry.source
    assert specific_force_n_per_mm2(entry, 0.05, 2.0, 10.0) > 0


def test_a_group_without_values_and_a_stranger_are_refused():
    for name in ("H", "cheese"):
        with pytest.raises(SettingError):
            material(name)


@pytest.mark.parametrize("wrong", [{"ktc_n_per_mm2": 0.0}, {"kte_n_per_mm": -1.0}, {"krc_n_per_mm2": np.nan}])
def test_coefficients_that_cannot_be_are_refused(wrong):
    with pytest.raises(SettingError):
        EdgeForces(**{"ktc_n_per_mm2": 800.0, **wrong})


def test_linear_coefficients_meet_kienzle_at_both_chips():
    cutting, edge = linear_from_kienzle(2220, 0.14)
    for chip in (0.02, 0.1):
        assert cutting * chip + edge == pytest.approx(2220 * chip**0.86)
