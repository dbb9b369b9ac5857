"""The clock of a source, from arrivals that are late by chance."""

import numpy as np
import pytest

from shopmon.signals.sensors.clock_fit import ClockFit


def followed(ppm, seconds, seed=0, rate_hz=48_000.0, lag_s=0.02, jitter_s=0.006):
    """A clock that is slow by `ppm`, heard in blocks of 21 ms that arrive late by chance."""
    rng = np.random.default_rng(seed)
    fit, end = ClockFit(rate_hz), 0
    while end < seconds * rate_hz:
        end += 1024
        fit.add(100.0 + end / rate_hz * (1 + 1e-6 * ppm) + lag_s + rng.exponential(jitter_s), end)
    return fit


@pytest.mark.parametrize("ppm", [-200.0, -30.0, 0.0, 50.0, 500.0])
@pytest.mark.parametrize("seed", range(3))
def test_the_drift_is_found(ppm, seed):
    fit = followed(ppm, 120.0, seed)
    assert fit.slow_ppm == pytest.approx(ppm, abs=5.0)
    sample = 100 * 48_000
    assert fit.line.time_of(sample) == pytest.approx(200.0 + 100 * 1e-6 * ppm + 0.02, abs=0.002)
    assert fit.line.sample_at(fit.line.time_of(sample)) == pytest.approx(sample, abs=1e-3)


def test_nothing_is_claimed_too_early():
    assert followed(50.0, 10.0).slow_ppm is None
    assert ClockFit(1000.0).slow_ppm is None


def test_a_computer_that_stands_still_for_a_while_changes_nothing():
    rng = np.random.default_rng(1)
    fit = ClockFit(48_000.0)
    for block in range(1, 60 * 47):
        late = 1.5 if 1000 < block < 1040 else 0.0
        fit.add(block * 1024 / 48_000 + late + rng.exponential(0.004), block * 1024)
    assert fit.slow_ppm == pytest.approx(0.0, abs=15.0)
