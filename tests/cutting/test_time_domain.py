"""The simulated cut against closed forms: forces of a rigid tool, chips under runout, free modes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.cutting.geometry import directional_average, entry_exit
from shopmon.cutting.nouns import Mode
from shopmon.cutting.simulation.modal_steps import modal_step
from shopmon.cutting.simulation.time_domain import (
    Coefficients,
    CutSimulation,
    Cutter,
    simulate_turns,
    steps_per_turn,
)
from shopmon.errors import SettingError

RIGID = (Mode(axis="x", frequency_hz=500.0, damping_ratio=0.5, stiffness_n_per_m=1e15),)
STEEL = Coefficients(kt=2.0e9, kr=0.8e9, kt_edge=3.0e4, kr_edge=4.0e4)
SHEAR = Coefficients(kt=2.0e9, kr=0.8e9)
TURN_S = 0.01


def cut(cutter, *, milling="slot", ae_mm=10.0, ap_mm=2.0, force=STEEL, modes=RIGID, turns=6, depth=None):
    """Simulate some turns; returns the motion."""
    arc = entry_exit(milling, ae_mm, cutter.diameter_mm)
    steps = steps_per_turn(cutter, modes, arc[1] - arc[0], TURN_S)
    simulation = CutSimulation(cutter, modes, force, arc, steps, ap_mm)
    return simulate_turns(simulation, np.arange(turns + 1) * TURN_S, depth or (lambda _: ap_mm))


def chips_mm(motion, cutter, ap_mm=2.0, force=SHEAR):
    """Chip thickness of a straight single-edge contact, from the resultant force, over the last turn."""
    return np.hypot(motion.fx_n[-1], motion.fy_n[-1]) / (np.hypot(force.kt, force.kr) * ap_mm * 1e-3) * 1e3


@pytest.mark.parametrize("helix_deg", [0.0, 38.0])
@pytest.mark.parametrize("flutes", [1, 2, 3, 5])
def test_mean_forces_of_a_slot(flutes, helix_deg):
    # Linear edge model, full immersion: Fx = −N a (Kr c/4 + Kre/π), Fy = N a (Kt c/4 + Kte/π);
    # Altintas, Manufacturing Automation (2nd ed. 2012), average milling forces, recalled and derived anew.
    feed_m, depth_m = 0.05e-3, 2e-3
    cutter = Cutter(flutes=flutes, diameter_mm=10, helix_deg=helix_deg, feed_per_tooth_mm=0.05)
    motion = cut(cutter)
    expected_x = -flutes * depth_m * (STEEL.kr * feed_m / 4 + STEEL.kr_edge / np.pi)
    expected_y = flutes * depth_m * (STEEL.kt * feed_m / 4 + STEEL.kt_edge / np.pi)
    assert motion.fx_n[-1].mean() == pytest.approx(expected_x, rel=6e-3)
    assert motion.fy_n[-1].mean() == pytest.approx(expected_y, rel=6e-3)


@settings(max_examples=30, deadline=None)
@given(
    offsets=st.lists(st.floats(-30, 30), min_size=2, max_size=5),
    milling=st.sampled_from(["slot", "climb", "conventional"]),
)
def test_runout_shares_the_metal_out_anew_but_leaves_none(offsets, milling):
    feed = {"flutes": len(offsets), "diameter_mm": 10.0, "feed_per_tooth_mm": 0.05}
    true = cut(Cutter(**feed), milling=milling, ae_mm=4.0, force=SHEAR, turns=3)
    bent = cut(Cutter(**feed, offsets_um=tuple(offsets)), milling=milling, ae_mm=4.0, force=SHEAR, turns=8)
    assert bent.fx_n[-1].mean() == pytest.approx(true.fx_n[-1].mean(), rel=1e-6)
    assert bent.fy_n[-1].mean() == pytest.approx(true.fy_n[-1].mean(), rel=1e-6)


def test_a_tooth_too_far_in_never_cuts_and_its_partner_takes_both_chips():
    cutter = Cutter(flutes=2, diameter_mm=10, feed_per_tooth_mm=0.05, offsets_um=(0.0, -150.0))
    motion = cut(cutter, force=STEEL, turns=5)
    touching = np.hypot(motion.fx_n[-1], motion.fy_n[-1]) > 0
    assert touching.mean() == pytest.approx(0.5, abs=0.02)
    assert chips_mm(cut(cutter, force=SHEAR), cutter).max() == pytest.approx(0.1, rel=1e-3)


def test_small_runout_splits_the_chip_by_the_difference():
    cutter = Cutter(flutes=2, diameter_mm=10, feed_per_tooth_mm=0.05, offsets_um=(5.0, -5.0))
    chips = chips_mm(cut(cutter, force=SHEAR), cutter).reshape(2, -1).max(axis=1)
    assert sorted(chips) == pytest.approx([0.04, 0.06], rel=2e-3)


def test_unequal_pitch_gives_chips_in_proportion():
    cutter = Cutter(flutes=3, diameter_mm=10, pitch_deg=(100.0, 120.0, 140.0), feed_per_tooth_mm=0.05)
    chips = chips_mm(cut(cutter, milling="climb", ae_mm=5.0, force=SHEAR), cutter)
    starts = np.flatnonzero((chips > 0) & (np.roll(chips, 1) == 0))
    peaks = sorted(chips[start : start + 20].max() for start in starts)
    assert peaks == pytest.approx([0.15 * angle / 360 for angle in (100, 120, 140)], rel=5e-3)


def test_nothing_is_felt_in_air_and_the_tool_rings_out():
    mode = (Mode(axis="y", frequency_hz=800.0, damping_ratio=0.01, stiffness_n_per_m=1e7),)
    cutter = Cutter(flutes=2, diameter_mm=10)
    motion = cut(cutter, modes=mode, turns=20, depth=lambda time: 1.0 if time < 5 * TURN_S else 0.0)
    assert np.any(motion.fy_n[4]) and not np.any(motion.fy_n[5:])
    size = np.abs(motion.y_m).max(axis=1)
    decay = 0.01 * mode[0].angular_frequency * TURN_S
    assert np.log(size[8] / size[16]) == pytest.approx(8 * decay, rel=0.03)


def test_a_held_and_a_rising_force_move_a_mode_as_the_closed_form_says():
    mode = Mode(axis="x", frequency_hz=300.0, damping_ratio=0.1, stiffness_n_per_m=2e6)
    step_s = 4e-4
    step = modal_step((mode,), "x", step_s)
    state, places = 0j, []
    for number in range(40):
        state = step.decay[0] * state + step.held[0] * (5.0 * number) + step.slope[0] * 5.0
        places.append(state.imag)
    time = step_s * np.arange(1, 41)
    omega, zeta, rate = mode.angular_frequency, 0.1, 5.0 / step_s
    damped = omega * np.sqrt(1 - zeta**2)
    lag = 2 * zeta / omega
    swing = lag * np.cos(damped * time) - (1 - 2 * zeta**2) / damped * np.sin(damped * time)
    ramp_answer = rate / 2e6 * (time - lag + np.exp(-zeta * omega * time) * swing)
    assert places == pytest.approx(ramp_answer.tolist(), rel=1e-9)


def test_steps_land_on_every_tooth():
    cutter = Cutter(flutes=4, diameter_mm=8, pitch_deg=(80.0, 95.0, 85.0, 100.0))
    count = steps_per_turn(cutter, RIGID, 1.0, TURN_S)
    assert count % 4 == 0
    places = np.cumsum((80, 95, 85)) / 360 * count
    assert np.abs(places - np.rint(places)).max() < 0.05


def test_directional_average_against_quadrature():
    entry, exit_ = entry_exit("climb", 3.0, 10.0)
    start, kr = np.array([0.0, 1.7, 2.9, 6.0]), 0.3
    angle = start[:, None] + 0.4 * (np.arange(20000) + 0.5) / 20000
    inside = ((angle % (2 * np.pi) > entry) & (angle % (2 * np.pi) < exit_)).astype(float)
    sine, cosine = np.sin(angle), np.cos(angle)
    rows = [[-cosine - kr * sine], [sine - kr * cosine]]
    expected = [[(inside * row[0] * way).mean(axis=1) for way in (sine, cosine)] for row in rows]
    found = directional_average(start, start + 0.4, entry, exit_, kr)
    assert np.moveaxis(found, 0, -1) == pytest.approx(np.array(expected), abs=5e-5)


def test_arcs_of_the_three_kinds_of_cut():
    assert entry_exit("conventional", 5, 10) == pytest.approx((0, np.pi / 2))
    assert entry_exit("climb", 5, 10) == pytest.approx((np.pi / 2, np.pi))
    assert entry_exit("slot", 1, 10) == pytest.approx((0, np.pi))
    with pytest.raises(SettingError, match="more than the diameter"):
        entry_exit("climb", 11, 10)
    with pytest.raises(SettingError, match="sideways"):
        entry_exit("sideways", 1, 10)


def test_deeper_than_announced_is_refused():
    with pytest.raises(SettingError, match="above ap_max_mm"):
        cut(Cutter(flutes=2, diameter_mm=10), ap_mm=1.0, depth=lambda _: 1.5)
