"""What is believed of a tool assembly before its first cut: a beam in a holder, or a measured response.

Every unknown is an affine function of independent standard normal numbers, so that moving in them is simple.
Spreads are our own judgement of small milling machines; no source.
"""

from dataclasses import dataclass
from math import log, pi, sqrt

import numpy as np

from shopmon.cutting.deflection import FLUTED_SHARE, MODULUS_GPA
from shopmon.cutting.many_cuts import Systems
from shopmon.cutting.nouns import Material, Mode, ToolAssembly, require, require_positive

AXES = "xyxy"  # a pair of modes of the tool, and a pair of whatever else gives way
DENSITY_KG_PER_M3 = 14_500.0  # tungsten carbide, from memory, no source
HOLDER_STIFFNESS, HOLDER_FREQUENCY = 0.5, 0.45  # what holder and spindle leave of the clamped beam's
PLAIN_HZ, PLAIN_STIFFNESS = 1200.0, 8e6  # where nothing is known of the tool
PLAIN_KT = 1100.0
WANDER, MEASURED_STIFFNESS = 0.015, 0.12  # of measured modes: as the spindle warms, and of the hammer


@dataclass(frozen=True, kw_only=True)
class Prior:
    """Medians and spreads (of the natural logarithm) of modes and force.

    Attributes
    ----------
    frequency_hz, stiffness_n_per_m
        Of the tool's own pair of modes.
    frequency_spread, stiffness_spread
        How unsure they are.
    kt_n_per_mm2, kt_spread
        Tangential coefficient.
    measured
        Modes of a measured response; the first along x and y replace the pair, others the second.
    """

    frequency_hz: float = PLAIN_HZ
    frequency_spread: float = 0.55
    stiffness_n_per_m: float = PLAIN_STIFFNESS
    stiffness_spread: float = 0.9
    kt_n_per_mm2: float = PLAIN_KT
    kt_spread: float = 0.5
    measured: tuple[Mode, ...] = ()

    def __post_init__(self):
        for name in ("frequency", "stiffness", "kt"):
            require_positive(f"{name}_spread", getattr(self, f"{name}_spread"))
        for name in ("frequency_hz", "stiffness_n_per_m", "kt_n_per_mm2"):
            require_positive(name, getattr(self, name))
        for axis in "xy":
            count, most = sum(mode.axis == axis for mode in self.measured), AXES.count(axis)
            require(
                count <= most,
                f"{count} measured modes along {axis} are more than the learning can hold ({most}).",
                "Leave out the stiffest.",
            )

    @property
    def dimensions(self) -> int:
        """How many standard normal numbers make one system."""
        return 17

    @property
    def pitch_spread(self) -> float:
        """Of the scale of all frequencies (logarithm)."""
        return WANDER if self.measured else self.frequency_spread

    @property
    def depth_spread(self) -> float:
        """Of the scale of stiffness over force (logarithm)."""
        return sqrt((MEASURED_STIFFNESS if self.measured else self.stiffness_spread) ** 2 + self.kt_spread**2)

    def scaled(self, latent: np.ndarray, pitch: np.ndarray, depth: np.ndarray) -> np.ndarray:
        """Standard normal numbers with the scales of frequency and of depth (logarithms) put in.

        Parameters
        ----------
        latent
            ``(systems, dimensions)``, zero where the scales go.
        pitch, depth
            ``(systems,)``.
        """
        latent = np.array(latent)
        latent[:, 14 if self.measured else 0] = pitch / self.pitch_spread
        latent[:, 13] = -depth / self.kt_spread
        return latent

    def systems(self, latent: np.ndarray) -> tuple[Systems, np.ndarray]:
        """Turn standard normal numbers into systems and force coefficients.

        Parameters
        ----------
        latent
            Shape ``(systems, dimensions)``.

        Returns
        -------
        systems
            With modes along `AXES`.
        kt_n_per_m2
            Tangential coefficient of each, N/m².
        """
        z = np.asarray(latent)
        frequency, stiffness, damping = (np.empty((len(z), 4)) for _ in range(3))
        own = log(self.frequency_hz) + self.frequency_spread * z[:, 0]
        stiff = log(self.stiffness_n_per_m) + self.stiffness_spread * z[:, 1]
        other = own - 0.2 + 0.6 * z[:, 2]
        other_stiff = stiff + 1.1 + 0.7 * z[:, 3]
        for place, (f, k) in enumerate(((own, stiff), (other, other_stiff))):
            apart, lopsided = 0.08 * z[:, 4 + place], 0.35 * z[:, 6 + place]
            frequency[:, 2 * place], frequency[:, 2 * place + 1] = f - apart / 2, f + apart / 2
            stiffness[:, 2 * place], stiffness[:, 2 * place + 1] = k - lopsided, k + lopsided
        damping[:] = np.clip(log(0.025) + 0.5 * z[:, 8:12], log(0.003), log(0.25))
        self._sharpen(frequency, stiffness, damping, z)
        kr = np.clip(0.3 * np.exp(0.4 * z[:, 12]), 0.02, 1.5)
        kt = 1e6 * self.kt_n_per_mm2 * np.exp(self.kt_spread * z[:, 13])
        return Systems(AXES, np.exp(frequency), np.exp(damping), np.exp(stiffness), kr), kt

    def _sharpen(self, frequency, stiffness, damping, z) -> None:
        """Let measured modes replace what was guessed, each with the error of a good measurement."""
        free = [0, 1, 2, 3]
        for mode in self.measured:
            place = next(index for index in free if AXES[index] == mode.axis)
            free.remove(place)
            wander = z[:, 14]  # the spindle warms, and all of it drifts together
            frequency[:, place] = log(mode.frequency_hz) + WANDER * wander + 0.01 * z[:, 4 + place // 2]
            stiff = MEASURED_STIFFNESS * z[:, 15] + 0.08 * z[:, 6 + place // 2]
            stiffness[:, place] = log(mode.stiffness_n_per_m) + stiff
            damping[:, place] = log(mode.damping_ratio) + 0.2 * z[:, 8 + place]


def prior_of(
    assembly: ToolAssembly | None = None, material: Material | None = None, measured: tuple[Mode, ...] = ()
) -> Prior:
    """Prior of a tool assembly in a material, as far as their dimensions are known.

    Parameters
    ----------
    assembly
        Cutting diameter and stickout make a clamped beam; None, or either missing, leaves wide spreads.
    material
        Its tangential coefficient, taken as uncertain by half: literature spans a factor of two.
    measured
        Modes from a tap test, at most two along each axis.

    Raises
    ------
    SettingError
        Where more were measured.
    """
    values: dict = {"measured": measured}
    if material is not None and material.ktc_n_per_mm2 is not None:
        values |= {"kt_n_per_mm2": material.ktc_n_per_mm2, "kt_spread": 0.35}
    if assembly is not None and assembly.mill.DC is not None and assembly.stickout_mm is not None:
        values |= _beam(assembly.mill.DC, assembly.stickout_mm)
    return Prior(**values)


def _beam(diameter_mm: float, stickout_mm: float) -> dict:
    """Clamped beam softened by its holder: 3 E I / L³ and 3.516 √(E I / (ρ A)) / (2π L²)."""
    diameter, length = FLUTED_SHARE * diameter_mm / 1e3, stickout_mm / 1e3
    young, inertia, area = 1e9 * MODULUS_GPA["carbide"], pi * diameter**4 / 64, pi * diameter**2 / 4
    stiffness = 3 * young * inertia / length**3
    frequency = 3.516 / (2 * pi * length**2) * sqrt(young * inertia / (DENSITY_KG_PER_M3 * area))
    return {
        "stiffness_n_per_m": HOLDER_STIFFNESS * min(stiffness, 1e8),
        "stiffness_spread": 0.5,
        "frequency_hz": min(HOLDER_FREQUENCY * frequency, 4000.0),
        "frequency_spread": 0.55,
    }
