"""The batch of many cuts against the values from outside in `milling_points`, which names the sources."""

import numpy as np
import pytest

from shopmon.cutting.geometry import entry_exit
from shopmon.cutting.stability.many_cuts import Systems, spectral_radius
from tests.published.milling_points import ONE_MODE, STIFFNESS


@pytest.mark.parametrize(("ae", "milling", "rpm", "ap_mm", "radius", "kind", "line_hz"), ONE_MODE)
def test_one_mode_benchmark(ae, milling, rpm, ap_mm, radius, kind, line_hz):
    bench = Systems("x", np.array([[922.0]]), np.array([[0.011]]), np.array([[STIFFNESS]]), np.array([1 / 3]))
    found = spectral_radius(bench, entry_exit(milling, ae, 1.0), 2, rpm, 600e3 * ap_mm, lines=True)
    assert found.radius[0] == pytest.approx(radius, abs=0.003)
    if kind:
        assert found.line_hz[0] == pytest.approx(line_hz, abs=0.2)
