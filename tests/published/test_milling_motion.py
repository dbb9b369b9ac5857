"""The simulated motion grows and decays as the published stability says: same points, an independent method.

See `milling_points` for the sources.
"""

import numpy as np
import pytest

from shopmon.cutting.simulation.motion import repetition, strongest_line_hz
from shopmon.cutting.simulation.time_domain import (
    Coefficients,
    CutSimulation,
    Cutter,
    simulate_turns,
    steps_per_turn,
)
from tests.published.milling_points import HOPF, ONE_MODE, TWO_DIRECTIONS, bench_case, two_direction_case

POINTS = [(bench_case(ae, milling), *rest) for ae, milling, *rest in ONE_MODE] + [
    (two_direction_case(setup, ae, milling), *rest) for setup, ae, milling, *rest in TWO_DIRECTIONS
]
NAMES = [f"{case.milling}-{rpm}-{ap_mm}-{case.flutes}" for case, rpm, ap_mm, *_ in POINTS]
ROUNDING_M = 1e-13


def moved(case, rpm, ap_mm, turns, *, separable=True, kick_m=0.0):
    """Motion of a cut without runout, edge forces or noise, after a kick to every mode."""
    cutter = Cutter(
        flutes=case.flutes,
        diameter_mm=case.diameter_mm,
        helix_deg=case.helix_deg,
        pitch_deg=case.pitch_deg,
        feed_per_tooth_mm=0.1,
    )
    arc, kt = case.entry_exit_rad, case.kt_n_per_mm2 * 1e6
    steps = steps_per_turn(cutter, case.modes, arc[1] - arc[0], 60 / rpm)
    simulation = CutSimulation(
        cutter, case.modes, Coefficients(kt=kt, kr=case.kr * kt), arc, steps, ap_mm, separable=separable
    )
    for states in simulation.states:
        states[:] = [complex(kick_m)] * len(states)
    return simulate_turns(simulation, np.arange(turns + 1) * 60 / rpm, lambda _: ap_mm)


def growth_per_tooth(case, rpm, ap_mm, turns=40):
    """Factor by which a kick grows from tooth to tooth, and over how many teeth that could be seen."""
    quiet = moved(case, rpm, ap_mm, turns, separable=False)
    kicked = moved(case, rpm, ap_mm, turns, separable=False, kick_m=1e-6)
    apart = np.hypot(kicked.x_m - quiet.x_m, kicked.y_m - quiet.y_m).reshape(turns * case.flutes, -1)
    size = np.sqrt(np.mean(apart**2, axis=1))
    teeth = np.arange(8, size.size)
    teeth = teeth[size[teeth] > ROUNDING_M]
    return float(np.exp(np.polyfit(teeth, np.log(size[teeth]), 1)[0])), teeth.size


@pytest.mark.parametrize(("case", "rpm", "ap_mm", "radius", "kind", "line_hz"), POINTS, ids=NAMES)
def test_a_kick_grows_as_the_multiplier_says(case, rpm, ap_mm, radius, kind, line_hz):
    growth, teeth = growth_per_tooth(case, rpm, ap_mm)
    # a complex multiplier makes the size beat: over 30 teeth the fit is good to a per cent, over fewer to
    # some
    assert growth == pytest.approx(radius, rel=0.006 if teeth > 60 else 0.025)


@pytest.mark.parametrize(("case", "rpm", "ap_mm", "radius", "kind", "line_hz"), POINTS, ids=NAMES)
def test_teeth_that_leave_the_cut_bound_chatter_and_keep_the_verdict(case, rpm, ap_mm, radius, kind, line_hz):
    motion = moved(case, rpm, ap_mm, 150)
    ratio = repetition(motion, case.flutes).ratio[-5:].max()
    assert ratio < 1e-3 if kind is None else ratio > 1.0
    assert np.abs(motion.x_m).max() < 5e-3


@pytest.mark.parametrize(
    ("case", "rpm", "ap_mm", "line_hz"),
    [(case, rpm, ap, line) for case, rpm, ap, radius, kind, line in POINTS if kind == HOPF and radius < 1.3],
    ids=str,
)
def test_moderate_chatter_keeps_near_the_line_of_the_linear_theory(case, rpm, ap_mm, line_hz):
    # teeth that leave the cut lower the effective stiffness: the limit cycle may sit some per cent off the
    # linear line
    motion = moved(case, rpm, ap_mm, 150)
    end = float(motion.turn_start_s[-1])
    found, _ = strongest_line_hz(motion, [end - 0.8 * end, end], case.flutes)
    assert found == pytest.approx(line_hz, rel=0.04)
