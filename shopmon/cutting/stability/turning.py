"""Regenerative limit of one edge that cuts all the time: turning, and the simplest picture of the lobes.

J. Tlusty 1963, S. A. Tobias 1965; T. L. Schmitz, K. S. Smith, *Machining Dynamics* (recalled).
"""

from math import pi

import numpy as np

from shopmon.cutting.nouns import require_positive


def limit_width_mm(receptance_m_per_n: np.ndarray, ks_n_per_mm2: float) -> np.ndarray:
    """Limit of the width of cut at each chatter frequency, b = −1/(2 Ks Re G); infinite where Re G ≥ 0.

    Parameters
    ----------
    receptance_m_per_n
        In the direction of the chip's thickness, complex, of any shape.
    ks_n_per_mm2
        Force coefficient in that direction.
    """
    require_positive("ks_n_per_mm2", ks_n_per_mm2)
    real = np.asarray(receptance_m_per_n).real
    below = real < 0
    return np.where(below, -1 / (2 * ks_n_per_mm2 * 1e3 * np.where(below, real, -1.0)), np.inf)


def lobe_speed_rpm(frequency_hz: np.ndarray, receptance_m_per_n: np.ndarray, lobe: int) -> np.ndarray:
    """Spindle speed at which a chatter frequency lies on a lobe (0 the fastest) of one edge."""
    receptance = np.asarray(receptance_m_per_n)
    phase = 2 * pi - 2 * np.arctan(np.abs(receptance.real) / np.abs(receptance.imag))
    return 60 * np.asarray(frequency_hz) / (lobe + phase / (2 * pi))
