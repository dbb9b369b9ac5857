"""The nouns of machining that every other part shares: tools, holders, materials, modes.

Tool dimensions carry the property symbols of ISO 13399 as their field names (``DC``, ``APMX``, ``FHA`` …), in
mm and degrees, and may be None where nobody measured them. Everything is checked when it is built.
"""

from dataclasses import dataclass, field
from math import isfinite, pi
from typing import Literal

import numpy as np

from shopmon.errors import SettingError

Axis = Literal["x", "y"]
MillingKind = Literal["climb", "conventional", "slot"]
MATERIAL_GROUPS = ("P", "M", "K", "N", "S", "H")
MOST_FLUTES, MOST_FLUTES_IN_USE = 60, 50  # of any catalogue; of a cut that is logged or advised on
MOST_MODE_HZ = 1e5
MOST_RPM, MOST_AP_MM = 1e6, 1e3  # beyond what any spindle or end mill does


def require(condition: bool, text: str, hint: str = "") -> None:
    """Raise SettingError with `text` unless `condition` holds."""
    if not condition:
        raise SettingError(text, hint)


def require_positive(name: str, value: float | None, *, optional: bool = False) -> None:
    """Check that a dimension is a finite number above zero (or None where `optional`)."""
    if value is None and optional:
        return
    good = isinstance(value, (int, float, np.number)) and isfinite(value) and value > 0
    require(good, f"{name} must be a number above 0, not {value!r}.")


def require_not_negative(name: str, value: float | None, *, optional: bool = False) -> None:
    """Check that a value is a finite number from zero up (or None where `optional`)."""
    if value is None and optional:
        return
    good = isinstance(value, (int, float, np.number)) and isfinite(value) and value >= 0
    require(good, f"{name} must be 0 or more, not {value!r}.")


def require_flutes(value: int, *, name: str = "flutes", most: int = MOST_FLUTES_IN_USE) -> None:
    """Check that a number of flutes is a whole one, from 1 to `most`."""
    number = isinstance(value, (int, float, np.number))
    good = number and float(value).is_integer() and 1 <= value <= most
    require(good, f"{name} must be a whole number from 1 to {most}, not {value!r}.")


def require_pitch(flutes: int | None, pitch_deg: tuple[float, ...] | None) -> None:
    """Check that the angles between flutes are one per flute and add up to a turn; None is equal pitch."""
    if pitch_deg is None:
        return
    require(
        len(pitch_deg) == flutes,
        f"pitch_deg holds {len(pitch_deg)} angles for {flutes!r} flutes.",
        "Give one angle per flute.",
    )
    good = all(angle > 0 for angle in pitch_deg) and abs(sum(pitch_deg) - 360) < 1e-6
    require(good, f"pitch_deg must be angles above 0 that add up to 360, not {pitch_deg!r}.")


@dataclass(frozen=True, kw_only=True)
class EndMillType:
    """A kind of end mill as a catalogue describes it; an individual tool is one of these with a label.

    Attributes
    ----------
    label
        The shop's own name for it.
    DC, DMM, DN
        Cutting, shank and neck diameter, mm.
    APMX, LCF, LU, LF, OAL
        Largest depth of cut, length of the flutes, usable, functional and overall length, mm.
    RE
        Corner radius, mm (0 = sharp).
    FHA
        Flute helix angle, degrees.
    NOF
        Number of flutes.
    RPMX
        Highest rotational speed marked on the tool, rpm.
    pitch_deg
        Angles from each flute to the next, degrees, adding up to 360; None means equal pitch.
    pitch
        ``"equal"`` or ``"variable"`` as the catalogue says, also where nobody measured the angles.
    substrate, coating, maker, price
        Free text.
    """

    label: str = ""
    DC: float | None = None
    DMM: float | None = None
    DN: float | None = None
    APMX: float | None = None
    LCF: float | None = None
    LU: float | None = None
    LF: float | None = None
    OAL: float | None = None
    RE: float | None = None
    FHA: float | None = None
    NOF: int | None = None
    RPMX: float | None = None
    pitch_deg: tuple[float, ...] | None = None
    pitch: Literal["equal", "variable"] | None = None
    substrate: str | None = None
    coating: str | None = None
    maker: str | None = None
    price: str | None = None

    def __post_init__(self):
        for name in ("DC", "DMM", "DN", "APMX", "LCF", "LU", "LF", "OAL", "RPMX"):
            require_positive(name, getattr(self, name), optional=True)
        require(self.RE is None or 0 <= self.RE < 1e3, f"RE must be 0 or more, not {self.RE!r}.")
        require(
            self.FHA is None or -80 <= self.FHA <= 80, f"FHA must be within ±80 degrees, not {self.FHA!r}."
        )
        if self.NOF is not None:
            require_flutes(self.NOF, name="NOF", most=MOST_FLUTES)
        require_pitch(self.NOF, self.pitch_deg)
        require(
            self.pitch in (None, "equal", "variable"), f"pitch must be equal or variable, not {self.pitch!r}."
        )


@dataclass(frozen=True, kw_only=True)
class Holder:
    """What clamps the end mill.

    Attributes
    ----------
    label
        The shop's own name for it.
    kind
        Collet, shrink fit, side lock … in the shop's words.
    RPMX
        Highest rotational speed marked on the holder, rpm.
    """

    label: str = ""
    kind: str | None = None
    RPMX: float | None = None

    def __post_init__(self):
        require_positive("RPMX", self.RPMX, optional=True)


@dataclass(frozen=True, kw_only=True)
class ToolAssembly:
    """End mill, holder and stickout: what sets the natural frequencies.

    Attributes
    ----------
    stickout_mm
        From the holder's face to the tip of the tool.
    runout_um
        Eccentricity of the cutting edges: half of what a dial indicator reads, µm.
    """

    mill: EndMillType
    holder: Holder | None = None
    stickout_mm: float | None = None
    runout_um: float | None = None

    def __post_init__(self):
        require_positive("stickout_mm", self.stickout_mm, optional=True)
        good = self.runout_um is None or (isfinite(self.runout_um) and 0 <= self.runout_um <= 1000)
        require(good, f"runout_um must be from 0 to 1000, not {self.runout_um!r}.")


@dataclass(frozen=True, kw_only=True)
class Material:
    """A work material with the force coefficients of the linear edge model F = Kc·h·b + Ke·b.

    Attributes
    ----------
    label, alloy
        Plain name and alloy designation.
    group
        ISO 513 group, one of P M K N S H.
    ktc_n_per_mm2, krc_n_per_mm2
        Tangential and radial cutting coefficients, N/mm².
    kte_n_per_mm, kre_n_per_mm
        Tangential and radial edge coefficients, N/mm.
    kc11_n_per_mm2, mc
        Kienzle's specific force at a chip of 1 mm by 1 mm, and its exponent.
    kt_low_n_per_mm2, kt_high_n_per_mm2
        What others found, or may find, for the tangential coefficient of the same material.
    source
        Where the coefficients come from; literature spans a factor of two for one alloy.
    """

    label: str
    alloy: str | None = None
    group: str | None = None
    ktc_n_per_mm2: float | None = None
    krc_n_per_mm2: float | None = None
    kte_n_per_mm: float | None = None
    kre_n_per_mm: float | None = None
    kc11_n_per_mm2: float | None = None
    mc: float | None = None
    kt_low_n_per_mm2: float | None = None
    kt_high_n_per_mm2: float | None = None
    source: str = ""

    def __post_init__(self):
        known = self.group is None or self.group in MATERIAL_GROUPS
        require(known, f"group must be one of {' '.join(MATERIAL_GROUPS)} (ISO 513), not {self.group!r}.")
        for name in ("ktc_n_per_mm2", "kc11_n_per_mm2", "kt_low_n_per_mm2", "kt_high_n_per_mm2"):
            require_positive(name, getattr(self, name), optional=True)
        require(self.mc is None or 0 <= self.mc < 1, f"mc must be from 0 to below 1, not {self.mc!r}.")
        for name in ("krc_n_per_mm2", "kte_n_per_mm", "kre_n_per_mm"):
            require_not_negative(name, getattr(self, name), optional=True)


@dataclass(frozen=True, kw_only=True)
class Mode:
    """One natural vibration of the tool tip (or part) along one axis.

    Attributes
    ----------
    axis
        ``"x"`` (along the feed) or ``"y"`` (normal to it).
    frequency_hz
        Undamped natural frequency.
    damping_ratio
        Fraction of critical damping, between 0 and 1.
    stiffness_n_per_m
        Modal stiffness at the tool tip.
    """

    axis: Axis
    frequency_hz: float
    damping_ratio: float
    stiffness_n_per_m: float

    def __post_init__(self):
        require(self.axis in ("x", "y"), f"axis must be x or y, not {self.axis!r}.")
        require_positive("frequency_hz", self.frequency_hz)
        require(
            self.frequency_hz <= MOST_MODE_HZ,
            f"frequency_hz must be up to {MOST_MODE_HZ:g}, not {self.frequency_hz:g}.",
            "No tool tip that matters to chatter vibrates that fast.",
        )
        require_positive("stiffness_n_per_m", self.stiffness_n_per_m)
        require_positive("damping_ratio", self.damping_ratio)
        require(self.damping_ratio < 1, f"damping_ratio must be below 1, not {self.damping_ratio!r}.")

    @property
    def angular_frequency(self) -> float:
        """Undamped natural frequency, rad/s."""
        return 2 * pi * self.frequency_hz

    @property
    def modal_mass_kg(self) -> float:
        """Stiffness over angular frequency squared."""
        return self.stiffness_n_per_m / self.angular_frequency**2

    def receptance_m_per_n(self, frequency_hz: np.ndarray) -> np.ndarray:
        """Displacement over force at each frequency, complex, of the same shape."""
        ratio = np.asarray(frequency_hz, dtype=float) / self.frequency_hz
        return 1 / (self.stiffness_n_per_m * (1 - ratio**2 + 2j * self.damping_ratio * ratio))


@dataclass(frozen=True, kw_only=True, eq=False)
class FrequencyResponse:
    """Complex receptance (displacement over force) of the tool tip.

    Attributes
    ----------
    frequency_hz
        Ascending, shape ``(lines,)``.
    receptance_m_per_n
        Complex, shape ``(lines,)``.
    direction
        Response axis then force axis: ``"xx"``, ``"yy"``, ``"xy"``, ``"yx"``.
    coherence
        Between 0 and 1, shape ``(lines,)``, or None where it was not measured.
    """

    frequency_hz: np.ndarray
    receptance_m_per_n: np.ndarray
    direction: str = "xx"
    coherence: np.ndarray | None = field(default=None)

    def __post_init__(self):
        frequency, receptance = np.asarray(self.frequency_hz), np.asarray(self.receptance_m_per_n)
        require(
            frequency.ndim == 1 and frequency.shape == receptance.shape and frequency.size > 0,
            f"frequency of shape {frequency.shape} does not fit receptance of shape {receptance.shape}.",
        )
        good = np.all(np.isfinite(frequency)) and np.all(np.diff(frequency) > 0) and frequency[0] >= 0
        require(bool(good), "frequency_hz must be finite, ascending and not negative.")
        require(bool(np.all(np.isfinite(receptance))), "receptance_m_per_n holds values that are not finite.")
        known = len(self.direction) == 2 and set(self.direction) <= {"x", "y"}
        require(known, f"direction must be two of the letters x and y, not {self.direction!r}.")
        fits = self.coherence is None or np.shape(self.coherence) == frequency.shape
        require(fits, f"coherence of shape {np.shape(self.coherence)} does not fit {frequency.shape}.")

    @classmethod
    def of_modes(cls, modes: tuple[Mode, ...], axis: Axis, frequency_hz: np.ndarray) -> "FrequencyResponse":
        """Sum the receptances of the modes along one axis.

        Parameters
        ----------
        modes
            Any modes; those of the other axis are left out.
        axis
            ``"x"`` or ``"y"``.
        frequency_hz
            Shape ``(lines,)``, ascending.

        Examples
        --------
        >>> mode = Mode(axis="x", frequency_hz=100.0, damping_ratio=0.05, stiffness_n_per_m=1e6)
        >>> response = FrequencyResponse.of_modes((mode,), "x", np.array([0.0, 100.0]))
        >>> float(response.receptance_m_per_n[0].real)
        1e-06
        >>> float(round(abs(response.receptance_m_per_n[1]) * 1e6, 6))  # 1/(2 ζ k)
        10.0
        """
        frequency = np.asarray(frequency_hz, dtype=float)
        receptance = np.zeros(frequency.shape, dtype=complex)
        for mode in modes:
            if mode.axis == axis:
                receptance += mode.receptance_m_per_n(frequency)
        return cls(frequency_hz=frequency, receptance_m_per_n=receptance, direction=axis * 2)
