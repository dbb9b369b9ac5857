"""The tables of shapes against solutions of each system: scales of frequency and depth, measured modes."""

import numpy as np
import pytest

from shopmon.cutting.advising.learning import first_belief
from shopmon.cutting.advising.prior import Prior
from shopmon.cutting.geometry import entry_exit
from shopmon.cutting.nouns import Mode
from shopmon.cutting.stability.many_cuts import spectral_radius
from shopmon.cutting.stability.shape_library import MOST_WAVES, shape_table

ARC, FLUTES = entry_exit("climb", 0.3, 1.0), 3  # of the other tests of learning, which share the table
SOFT = Prior(frequency_hz=900.0, stiffness_n_per_m=3e6, kt_n_per_mm2=2000.0, kt_spread=0.35)
MEASURED = Prior(
    frequency_hz=2600.0,
    kt_n_per_mm2=700.0,
    measured=(
        Mode(axis="x", frequency_hz=1500.0, damping_ratio=0.03, stiffness_n_per_m=8e6),
        Mode(axis="y", frequency_hz=1560.0, damping_ratio=0.03, stiffness_n_per_m=8e6),
    ),
)


def cases(prior):
    """Systems of a belief with speeds within the table; their borders as logarithms of mm."""
    belief = first_belief(prior, 800)
    rpm = np.exp(np.random.default_rng(3).uniform(np.log(6000), np.log(24000), 800))
    systems, kt = prior.systems(belief.latent)
    inside = 60 * systems.frequency_hz[:, 0] / (FLUTES * rpm) < MOST_WAVES
    table = shape_table(prior, ARC, FLUTES)
    border = table.borders(belief.shape, belief.pitch, belief.depth, rpm)
    return belief, systems.pick(np.flatnonzero(inside)), kt[inside], rpm[inside], border[inside], inside


@pytest.mark.parametrize("prior", [Prior(), SOFT, MEASURED], ids=["plain", "soft", "measured"])
def test_systems_ring_above_the_tabulated_border_and_not_below(prior):
    _, systems, kt, rpm, border, _ = cases(prior)

    def rings(over):
        force = kt * np.exp(border + over) / 1e3
        return np.mean(spectral_radius(systems, ARC, FLUTES, rpm, force).radius > 1)

    assert rings(0.1) > 0.75 and rings(-0.1) < 0.2


@pytest.mark.parametrize(("over", "share"), [(0.2, 0.75), (1.0, 0.6)])
def test_the_tabulated_line_is_mostly_the_one_that_the_system_makes(over, share):
    belief, systems, kt, rpm, border, inside = cases(SOFT)
    table = shape_table(SOFT, ARC, FLUTES)
    line, _ = table.lines(belief.shape[inside], belief.pitch[inside], rpm, np.full(len(rpm), over))
    force = kt * np.exp(border + over) / 1e3
    found = spectral_radius(systems, ARC, FLUTES, rpm, force, lines=True).line_hz
    assert np.mean(np.abs(np.exp(line) / found - 1) < 0.01) > share


def test_measured_modes_hardly_move():
    systems, _ = MEASURED.systems(first_belief(MEASURED, 400).latent)
    assert np.std(np.log(systems.frequency_hz[:, 0])) < 0.03
