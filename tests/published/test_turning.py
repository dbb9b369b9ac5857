"""Limit of one edge that cuts all the time: J. Tlusty 1963, S. A. Tobias 1965 (formulas recalled).

The numbers were computed by two methods for this purpose: every point gives spectral radius 1.000000000 of
the delay equation by Chebyshev collocation in an unrelated program.
"""

import numpy as np
import pytest

from shopmon.cutting.nouns import Mode
from shopmon.cutting.stability.turning import limit_width_mm, lobe_speed_rpm

MODE = Mode(axis="x", frequency_hz=500.0, damping_ratio=0.05, stiffness_n_per_m=2.0e7)
KS = 1000.0  # N/mm²


@pytest.mark.parametrize(
    ("frequency_hz", "width_mm", "speeds"),
    [
        (505, 5.27612, (32321.03, 15638.95, 10315.00, 7695.30)),
        (515, 2.35104, (37227.47, 16884.95, 10918.60, 8067.82)),
        (525, 2.10061, (41786.34, 17960.64, 11438.59, 8391.42)),
        (550, 2.67619, (50490.46, 19956.59, 12435.99, 9032.22)),
        (600, 4.72727, (61564.70, 22716.51, 13927.84, 10042.54)),
    ],
)
def test_lobes(frequency_hz, width_mm, speeds):
    receptance = MODE.receptance_m_per_n(np.array([float(frequency_hz)]))
    assert limit_width_mm(receptance, KS)[0] == pytest.approx(width_mm, rel=1e-5)
    for lobe, rpm in enumerate(speeds):
        assert lobe_speed_rpm(frequency_hz, receptance, lobe)[0] == pytest.approx(rpm, rel=1e-6)


def test_least_width():
    frequency = np.linspace(480, 620, 140001)
    width = limit_width_mm(MODE.receptance_m_per_n(frequency), KS)
    assert width.min() == pytest.approx(2.1, rel=1e-6)  # 2 k ζ (1 + ζ)/Ks
    assert frequency[np.argmin(width)] == pytest.approx(524.404, abs=0.002)  # fn √(1 + 2ζ)
    assert np.isinf(width[frequency < 499.9]).all()
