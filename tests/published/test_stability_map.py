"""The fast map of stability against the same values from outside as the plain method, and borders in depth.

Sources: see `milling_points`. The borders of two-direction cutters below are those of the full periodic
equation by Chebyshev collocation (±0.5 %), computed for this purpose by a program that is not this project's.
"""

import numpy as np
import pytest

from shopmon.cutting.stability.depth_limits import depth_limits
from shopmon.cutting.stability.maps import stability_map
from tests.published.milling_points import (
    BORDERS,
    FLIP,
    ONE_MODE,
    TRUE_BORDERS,
    TWO_DIRECTIONS,
    bench_case,
    two_direction_case,
)

POINTS = [(bench_case(ae, milling), *rest) for ae, milling, *rest in ONE_MODE] + [
    (two_direction_case(setup, ae, milling), *rest) for setup, ae, milling, *rest in TWO_DIRECTIONS
]


@pytest.mark.parametrize(("case", "rpm", "ap_mm", "radius", "kind", "line_hz"), POINTS)
def test_multiplier_kind_and_line(case, rpm, ap_mm, radius, kind, line_hz):
    found = stability_map(case, [rpm], [ap_mm], lines=True)
    assert found.spectral_radius[0, 0] == pytest.approx(radius, abs=2e-4)
    assert found.chatters[0, 0] == (kind is not None)
    assert found.period_doubling[0, 0] == (kind == FLIP)
    if kind is None:
        assert np.isnan(found.line_hz[0, 0])
    else:
        assert found.line_hz[0, 0] == pytest.approx(line_hz, abs=0.05)


@pytest.mark.parametrize(("ae", "milling", "rpm", "border_mm"), BORDERS)
def test_first_border_of_the_benchmark(ae, milling, rpm, border_mm):
    assert depth_limits(bench_case(ae, milling), [rpm], 10.0)[0] == pytest.approx(border_mm, abs=0.002)


@pytest.mark.parametrize(("setup", "ae", "milling", "rpm", "border_mm"), TRUE_BORDERS)
def test_first_border_in_two_directions(setup, ae, milling, rpm, border_mm):
    found = depth_limits(two_direction_case(setup, ae, milling), [rpm], 15.0)
    assert found[0] == pytest.approx(border_mm, rel=1e-3)


def test_slot_of_the_shop_like_cutter_has_its_pockets_where_the_chatter_frequency_says():
    # true borders of set-up B, slot: 11000 → 0.805 … 33000 → 1.848 mm; 29000 and 30500 above 3.0. The rule
    # n = 60 f/(N k) with 1450 … 1620 Hz says 29000 … 32400 (k = 1) and 14500 … 16200 (k = 2). Same source.
    rpm = [11000, 12000, 14000, 16000, 18000, 24000, 27000, 33000]
    borders = [0.805, 0.868, 1.082, 1.179, 0.798, 1.004, 1.771, 1.848]
    case = two_direction_case("B", 1.0, "slot")
    np.testing.assert_allclose(depth_limits(case, rpm, 4.0), borders, atol=0.001)
    assert (depth_limits(case, [29000, 30500], 4.0) > 3.0).all()


def test_regions_of_low_immersion():
    # 5 % climb, 4 mm deep (T. Insperger, G. Stépán, IJNME 61, 2004, 117–141): islands of period doubling near
    # N n/60 = 2 fn/(2 k + 1), k = 1, 2 … (here below 18440 and 11064 rpm), between them quasi-periodic
    # chatter under the speeds N n/60 = fn/k (27660, 13830 rpm); tables above give single points of each.
    rpm = np.arange(9000.0, 21001.0, 250.0)
    found = stability_map(bench_case(0.05, "climb"), rpm, [4.0], lines=True)
    flip, chatters = found.period_doubling[:, 0], found.chatters[:, 0]
    assert flip[(rpm >= 17000) & (rpm <= 18250)].all()
    assert not flip[(rpm > 11500) & (rpm < 16500)].any()
    assert (chatters & ~flip)[(rpm >= 11750) & (rpm <= 12750)].all()
    assert not chatters[(rpm >= 14500) & (rpm <= 16000)].any()
    halves = found.line_hz[flip, 0] * found.period_s[flip]  # f_tp/2 + k f_tp
    np.testing.assert_allclose(halves % 1.0, 0.5, atol=1e-9)
    quasi = found.line_hz[chatters & ~flip, 0]
    assert ((quasi > 860) & (quasi < 922)).all()  # below the natural frequency in climb milling


def test_family_of_lines():
    # arg(μ)/(2πτ) = 99.72 Hz at 12000 rpm, two teeth, 5 % climb, 4 mm; family 99.72, 300.28, 499.72, 700.28,
    # 899.72 …: T. Insperger, G. Stépán, P. Bayly, B. Mann, J. Sound Vib. 262 (2003) 333–345 (formula
    # recalled).
    found = stability_map(bench_case(0.05, "climb"), [12000], [4.0], lines=True)
    base, spacing = found.base_hz[0, 0], 1 / found.period_s[0]
    assert base == pytest.approx(99.72, abs=0.05)
    family = sorted(abs(sign * base + k * spacing) for k in range(5) for sign in (1, -1) if k or sign > 0)
    np.testing.assert_allclose(family[:5], [99.72, 300.28, 499.72, 700.28, 899.72], atol=0.05)
    assert found.line_hz[0, 0] == pytest.approx(899.72, abs=0.05)
