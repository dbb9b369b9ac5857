"""Simulated tap tests of systems that are known exactly. Figures are invented."""

import numpy as np

RATE = 51_200.0


def receptance(modes, frequency_hz):
    """Return the receptance of modes (Hz, damping ratio, N/m) at frequencies, m/N: the closed form."""
    omega = 2 * np.pi * np.asarray(frequency_hz)
    total = np.zeros(omega.shape, complex)
    for hz, damping, stiffness in modes:
        natural = 2 * np.pi * hz
        total += natural**2 / stiffness / (natural**2 - omega**2 + 2j * damping * natural * omega)
    return total


def accelerations(modes, force, rate_hz=RATE):
    """Return what an accelerometer at the place of the hit reads, m/s²."""
    size = 4 * force.size
    frequency = np.fft.rfftfreq(size, 1 / rate_hz)
    accelerance = -((2 * np.pi * frequency) ** 2) * receptance(modes, frequency)
    return np.fft.irfft(np.fft.rfft(force, size) * accelerance, size)[: force.size]


def taps(modes, *, hits=5, apart_s=0.5, noise_db=-60.0, seed=0, double=(), rate_hz=RATE):
    """Return force and acceleration of several hits with a 0.2 ms half sine each, and noise on both.

    `double` names hits that touch twice.
    """
    rng = np.random.default_rng(seed)
    force = np.zeros(int(hits * apart_s * rate_hz))
    pulse = np.sin(np.pi * np.arange(int(0.0002 * rate_hz)) / int(0.0002 * rate_hz))
    for hit in range(hits):
        start = int((hit * apart_s + 0.02) * rate_hz)
        force[start : start + pulse.size] += rng.uniform(120, 200) * pulse
        if hit in double:
            later = start + int(0.006 * rate_hz)
            force[later : later + pulse.size] += 60 * pulse
    response = accelerations(modes, force, rate_hz)
    response += rng.standard_normal(response.size) * response.max() * 10 ** (noise_db / 20)
    return force + 0.02 * rng.standard_normal(force.size), response


def two_plosives(rate_hz=RATE, seed=2):
    """Return something like "pata": two short bursts of noise, each with a buzzing vowel. Invented."""
    rng = np.random.default_rng(seed)
    sound = 1e-4 * rng.standard_normal(int(1.6 * rate_hz))
    for at in (0.3, 0.9):
        begin, burst = int(at * rate_hz), int(0.012 * rate_hz)
        sound[begin : begin + burst] += 0.2 * rng.standard_normal(burst) * np.hanning(burst)
        t = np.arange(int(0.25 * rate_hz)) / rate_hz
        buzz = np.zeros(t.size)
        for harmonic in range(1, 30):
            hz = 120.0 * harmonic * (1 + 0.03 * t)
            formant = sum(1 / (1 + ((120.0 * harmonic - f) / 90.0) ** 2) for f in (700, 1200, 2600))
            buzz += formant * np.sin(2 * np.pi * hz * t + rng.uniform(0, 6))
        start = begin + int(0.025 * rate_hz)
        sound[start : start + t.size] += 0.3 * buzz / np.abs(buzz).max() * np.sin(np.pi * t / t[-1]) ** 0.5
    return sound
