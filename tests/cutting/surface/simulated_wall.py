"""The wall that the simulated tool leaves: from where its teeth were, nothing of the arithmetic of marks."""

import numpy as np

from shopmon.cutting.geometry import entry_exit
from shopmon.cutting.nouns import Mode
from shopmon.cutting.simulation.time_domain import (
    Coefficients,
    CutSimulation,
    Cutter,
    simulate_turns,
    steps_per_turn,
)

MODES = (
    Mode(axis="x", frequency_hz=1450, damping_ratio=0.03, stiffness_n_per_m=8e6),
    Mode(axis="y", frequency_hz=1620, damping_ratio=0.025, stiffness_n_per_m=6e6),
)
ALUMINIUM = Coefficients(kt=8e8, kr=2.5e8)
DIAMETER_MM, FZ_MM, FLUTES = 10.0, 0.06, 3


def cut_wall(rpm, ap_mm, milling, offsets_um=(), turns=120):
    """Simulate; return the motion and the function that gives the wall's depth in µm at places in mm."""
    cutter = Cutter(
        flutes=FLUTES, diameter_mm=DIAMETER_MM, feed_per_tooth_mm=FZ_MM, offsets_um=tuple(offsets_um)
    )
    arc = entry_exit(milling, 2.5, DIAMETER_MM)
    steps = max(steps_per_turn(cutter, MODES, arc[1] - arc[0], 60 / rpm), 600) // FLUTES * FLUTES
    simulation = CutSimulation(cutter, MODES, ALUMINIUM, arc, steps, ap_mm)
    motion = simulate_turns(simulation, np.arange(turns + 1) * 60 / rpm, lambda _: ap_mm)
    return motion, lambda places_mm: _depth_um(motion, cutter, rpm, milling, places_mm)


def _depth_um(motion, cutter, rpm, milling, places_mm):
    side = 1 if milling == "conventional" else -1
    steps, radius = motion.x_m.shape[1], cutter.diameter_mm / 2
    feed_mm = FZ_MM * FLUTES * rpm / 60 * motion.times_s()
    x, y = feed_mm + 1e3 * motion.x_m.ravel(), 1e3 * motion.y_m.ravel()
    depth = np.full(places_mm.size, -np.inf)
    for tooth in range(FLUTES):
        angle = 2 * np.pi * (np.arange(x.size) / steps - tooth / FLUTES)
        reach = radius + (cutter.offsets_um[tooth] / 1000 if cutter.offsets_um else 0)
        square = np.flatnonzero(side * np.cos(angle) > 0.9)
        for passing in np.split(square, np.flatnonzero(np.diff(square) > 1) + 1):
            across = (x + reach * np.sin(angle))[passing]
            into = (side * (y + reach * np.cos(angle)))[passing] - radius
            order = np.argsort(across)
            inside = (places_mm >= across.min()) & (places_mm <= across.max())
            made = np.interp(places_mm[inside], across[order], into[order])
            depth[inside] = np.maximum(depth[inside], 1000 * made)
    return depth


def strongest_spacing_mm(places_mm, depth_um):
    """Spacing of the strongest wave of the slope."""
    slope = np.gradient(depth_um)
    slope = (slope - slope.mean()) * np.hanning(slope.size)
    power = np.abs(np.fft.rfft(slope, 8 * slope.size))
    top = int(np.argmax(power[40:])) + 40
    return 8 * slope.size * (places_mm[1] - places_mm[0]) / top
