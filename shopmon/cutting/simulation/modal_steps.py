"""Exact steps of vibration modes under a force that runs linearly within the step (first-order hold).

Each mode is one complex number z with z' = λ z + F/(m ω_d), λ = −ζω + jω_d; its displacement is Im z.
"""

from dataclasses import dataclass

import numpy as np

from shopmon.cutting.nouns import Axis, Mode


@dataclass(frozen=True)
class ModalStep:
    """Multipliers of one time step for the modes of one axis, as plain lists for a scalar loop.

    Attributes
    ----------
    decay
        Complex multipliers of the modal states.
    held
        What a force held over the step adds, per newton.
    slope
        What is added on top per newton by which the force has changed at the end of the step.
    quick
        Displacement per newton of that change, all modes together.
    """

    decay: list[complex]
    held: list[complex]
    slope: list[complex]
    quick: float


def eigenvalues(modes: tuple[Mode, ...]) -> np.ndarray:
    """Upper eigenvalue λ = −ζω + jω√(1−ζ²) of each mode, rad/s; shape ``(modes,)``."""
    omega = np.array([mode.angular_frequency for mode in modes], dtype=float)
    zeta = np.array([mode.damping_ratio for mode in modes], dtype=float)
    return omega * (-zeta + 1j * np.sqrt(1 - zeta**2))


def modal_step(modes: tuple[Mode, ...], axis: Axis, step_s: float) -> ModalStep:
    """Build the exact step of the modes along one axis.

    Parameters
    ----------
    modes
        Those of the other axis are left out.
    axis
        ``"x"`` or ``"y"``.
    step_s
        Length of the step.
    """
    own = tuple(mode for mode in modes if mode.axis == axis)
    if not own:
        return ModalStep([], [], [], 0.0)
    pole = eigenvalues(own)
    gain = 1 / (np.array([mode.modal_mass_kg for mode in own]) * pole.imag)
    decay = np.exp(pole * step_s)
    held = gain * (decay - 1) / pole
    slope = gain * (decay - 1 - pole * step_s) / (pole**2 * step_s)
    return ModalStep(decay.tolist(), held.tolist(), slope.tolist(), float(slope.imag.sum()))
