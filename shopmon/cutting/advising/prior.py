"""What is believed of a tool assembly before its first cut: a beam in a holder, or a measured response.

Every unknown is an affine function of independent standard normal numbers, so that moving in them is simple.
Spreads are our own judgement of small milling machines; no source.
"""

from dataclasses import dataclass
from math import exp, hypot, isfinite, log, pi, sqrt
from statistics import NormalDist

import numpy as np

from shopmon.cutting.finishing.deflection import FLUTED_SHARE, MODULUS_GPA
from shopmon.cutting.nouns import Material, Mode, ToolAssembly, require, require_positive
from shopmon.cutting.stability.many_cuts import Systems

AXES = "xyxy"  # a pair of modes of the tool, and a pair of whatever else gives way
DENSITY_KG_PER_M3 = 14_500.0  # tungsten carbide, from memory, no source
HOLDER_STIFFNESS, HOLDER_FREQUENCY = 0.5, 0.45  # what holder and spindle leave of the clamped beam's
PLAIN_HZ, PLAIN_STIFFNESS = 1200.0, 8e6  # where nothing is known of the tool
PLAIN_KT = 1100.0
WANDER, MEASURED_STIFFNESS = 0.015, 0.12  # of measured modes: as the spindle warms, and of the hammer
OWN_HZ, OWN_DAMPING = 0.01, 0.2  # of each measured mode by itself, logarithms
OTHER_TONE = 0.1  # chance that of two heard tones the unlikelier one is the tool's, at least


@dataclass(frozen=True, kw_only=True)
class HeardTone:
    """A mode of which a hammer without a force told frequency and damping, and nothing of its stiffness.

    Attributes
    ----------
    axis
        ``"x"`` or ``"y"``.
    frequency_hz, frequency_error_hz
        Natural frequency, and its standard error.
    damping_ratio, damping_error
        Fraction of critical damping, and its standard error.
    """

    axis: str
    frequency_hz: float
    damping_ratio: float
    frequency_error_hz: float = 0.0
    damping_error: float = 0.0

    def __post_init__(self):
        require(self.axis in ("x", "y"), f"axis must be x or y, not {self.axis!r}.")
        require_positive("frequency_hz", self.frequency_hz)
        require_positive("damping_ratio", self.damping_ratio)
        require(self.damping_ratio < 1, f"damping_ratio must be below 1, not {self.damping_ratio!r}.")
        for error in (self.frequency_error_hz, self.damping_error):
            require(isfinite(error) and error >= 0, f"An error cannot be {error!r}.")


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
    heard
        Modes of which only frequency and damping are known, in the places that `measured` leaves; which of
        two along an axis is the tool's own is left open, as far as its frequency does not tell.
    """

    frequency_hz: float = PLAIN_HZ
    frequency_spread: float = 0.55
    stiffness_n_per_m: float = PLAIN_STIFFNESS
    stiffness_spread: float = 0.9
    kt_n_per_mm2: float = PLAIN_KT
    kt_spread: float = 0.5
    measured: tuple[Mode, ...] = ()
    heard: tuple[HeardTone, ...] = ()

    def __post_init__(self):
        # a belief that was kept holds plain data
        tones = tuple(tone if isinstance(tone, HeardTone) else HeardTone(**tone) for tone in self.heard)
        object.__setattr__(self, "heard", tones)
        for name in ("frequency", "stiffness", "kt"):
            require_positive(f"{name}_spread", getattr(self, f"{name}_spread"))
        for name in ("frequency_hz", "stiffness_n_per_m", "kt_n_per_mm2"):
            require_positive(name, getattr(self, name))
        for axis in "xy":
            known = (*self.measured, *self.heard)
            count, most = sum(mode.axis == axis for mode in known), AXES.count(axis)
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
        return WANDER if self.measured or self.heard else self.frequency_spread

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
        own = self._own_frequency(z)
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
        # the spindle warms, and all of it drifts together
        drift = WANDER * (z[:, 14] if self.measured else z[:, 0])
        for mode in self.measured:
            place = next(index for index in free if AXES[index] == mode.axis)
            free.remove(place)
            frequency[:, place] = log(mode.frequency_hz) + drift + OWN_HZ * z[:, 4 + place // 2]
            stiff = MEASURED_STIFFNESS * z[:, 15] + 0.08 * z[:, 6 + place // 2]
            stiffness[:, place] = log(mode.stiffness_n_per_m) + stiff
            damping[:, place] = log(mode.damping_ratio) + OWN_DAMPING * z[:, 8 + place]
        for axis in "xy":
            tones = [tone for tone in self.heard if tone.axis == axis]
            places = [index for index in free if AXES[index] == axis][: len(tones)]
            self._put(tones, places, frequency, damping, drift, z)

    def _put(self, tones, places, frequency, damping, drift, z) -> None:
        """Let tones that were heard along one axis take the place of guessed frequencies and dampings."""
        other = np.zeros(len(z), bool)
        if len(tones) == 2:
            # no stiffness was heard: either may be the tool's, rather the one that a beam of its size has
            near = [exp(-0.5 * (self._off(tone) / self.frequency_spread) ** 2) for tone in tones]
            first = min(max(near[0] / max(sum(near), 1e-300), OTHER_TONE), 1 - OTHER_TONE)
            other = z[:, 2] > NormalDist().inv_cdf(first)
        for number, place in enumerate(places):
            for tone, here in ((tones[number], ~other), (tones[number - 1], other)):
                hz = hypot(OWN_HZ, tone.frequency_error_hz / tone.frequency_hz)
                ratio = hypot(OWN_DAMPING, tone.damping_error / tone.damping_ratio)
                heard_hz = log(tone.frequency_hz) + drift + hz * z[:, 4 + place // 2]
                heard_ratio = log(tone.damping_ratio) + ratio * z[:, 8 + place]
                frequency[:, place] = np.where(here, heard_hz, frequency[:, place])
                damping[:, place] = np.where(here, heard_ratio, damping[:, place])

    def _off(self, tone: HeardTone) -> float:
        return log(tone.frequency_hz / self.frequency_hz)

    def _own_frequency(self, z) -> np.ndarray:
        """Logarithm of the tool's own frequency: guessed, or near what was heard along either axis."""
        if self.measured or not self.heard:
            return log(self.frequency_hz) + self.frequency_spread * z[:, 0]
        nearest = min(self.heard, key=lambda tone: abs(self._off(tone)))
        return log(nearest.frequency_hz) + WANDER * z[:, 0]


def prior_of(
    assembly: ToolAssembly | None = None,
    material: Material | None = None,
    measured: tuple[Mode, ...] = (),
    heard: tuple[HeardTone, ...] = (),
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
    heard
        Modes of a tap test without a force; both together at most two along each axis.

    Raises
    ------
    SettingError
        Where more were measured.
    """
    values: dict = {"measured": measured, "heard": heard}
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
