"""Simulated run-ups of a spindle on a structure that is known exactly. Figures are invented."""

import numpy as np

RATE, SECONDS = 12_800.0, 40.0


def ramp(low_rpm, high_rpm, seconds=SECONDS):
    """Return the rotation in Hz at every sample: evenly up."""
    return np.linspace(low_rpm, high_rpm, int(seconds * RATE)) / 60


def stairs(low_rpm, high_rpm, seconds=SECONDS):
    """Return the rotation of someone who turns the override by steps."""
    from scipy.ndimage import gaussian_filter1d

    share = np.floor(np.linspace(0, 9.999, int(seconds * RATE))) / 9
    return gaussian_filter1d(low_rpm / 60 * (high_rpm / low_rpm) ** share, 0.4 * RATE, mode="nearest")


def answered(force, natural_hz, damping):
    """Return the acceleration of one mode to a force."""
    from scipy.signal import bilinear, lfilter

    turned = 2 * RATE * np.tan(np.pi * natural_hz / RATE)
    return lfilter(*bilinear([1, 0, 0], [1, 2 * damping * turned, turned**2], RATE), force)


def sound(rotation_hz, modes, *, noise=1.0, louder_at=None, seed=0):
    """Return what the sensor gives: multiples of the rotation through (Hz, damping, size), other tones."""
    rng = np.random.default_rng(seed)
    t = np.arange(rotation_hz.size) / RATE
    turn = 2 * np.pi * np.cumsum(rotation_hz) / RATE
    force = 2.0 * (rotation_hz / rotation_hz.max()) ** 2 * np.sin(turn)
    for order, size in enumerate((0.5, 0.4, 0.3, 0.2, 0.2), 2):
        force += size * np.sin(order * turn + order)
    force += 0.3 * noise * rng.standard_normal(t.size)
    out = 0.02 * force + sum(size * answered(force, hz, damping) for hz, damping, size in modes)
    if louder_at is not None:
        out *= 1 + 4 * np.exp(-(((60 * rotation_hz - louder_at) / 400) ** 2))
    tones = (
        0.3 * np.sin(2 * np.pi * 100 * t)
        + 0.1 * np.sin(2 * np.pi * 50 * t)
        + 0.3 * np.sin(2 * np.pi * 787 * t)
    )
    return out + tones + 0.05 * noise * rng.standard_normal(t.size)
