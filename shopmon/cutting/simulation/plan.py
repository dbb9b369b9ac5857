"""What is asked of a simulated pass: tool, part, engagements, spindle and everything else that sounds."""

from dataclasses import dataclass, field
from math import isfinite
from typing import Literal

from shopmon.cutting.geometry import entry_exit
from shopmon.cutting.nouns import (
    MOST_AP_MM,
    Material,
    MillingKind,
    Mode,
    ToolAssembly,
    require,
    require_positive,
)

SENSORS = ("microphone", "accelerometer")


def require_range(name: str, value: float, low: float, high: float) -> None:
    """Check that a number is finite and within the bounds."""
    good = isinstance(value, (int, float)) and isfinite(value) and low <= value <= high
    require(good, f"{name} must be from {low:g} to {high:g}, not {value!r}.")


@dataclass(frozen=True, kw_only=True)
class Corner:
    """A moment within an engagement at which more (or less) of the tool is in metal.

    Attributes
    ----------
    start_s, end_s
        From the first sample of the recording.
    factor
        Of the axial depth in the middle of the corner; it comes and goes over a quarter of the corner each.
    """

    start_s: float
    end_s: float
    factor: float

    def __post_init__(self):
        require_range("start_s", self.start_s, 0, 86400)
        good = isfinite(self.end_s) and self.end_s > self.start_s
        require(good, f"A corner from {self.start_s!r} s cannot end at {self.end_s!r} s.")
        require_range("factor", self.factor, 0.05, 20)

    def factor_at(self, time_s: float) -> float:
        """Factor of the depth at a time, 1 outside the corner."""
        near = min(time_s - self.start_s, self.end_s - time_s)
        share = min(max(near / (0.25 * (self.end_s - self.start_s)), 0.0), 1.0)
        return 1 + share * (self.factor - 1)


@dataclass(frozen=True, kw_only=True)
class Engagement:
    """One stay of the tool in metal.

    Attributes
    ----------
    start_s, end_s
        From the first sample of the recording.
    ap_start_mm, ap_end_mm
        Axial depth before and after the ramp.
    ramp_start_s, ramp_end_s
        When the depth ramps; None means from start to end.
    entry_s
        How long the tool takes to come in (and to leave): the depth rises from 0 over this time.
    corners
        Where the depth changes for a moment.
    """

    start_s: float
    end_s: float
    ap_start_mm: float
    ap_end_mm: float | None = None
    ramp_start_s: float | None = None
    ramp_end_s: float | None = None
    entry_s: float = 0.1
    corners: tuple[Corner, ...] = ()

    def __post_init__(self):
        require_range("start_s", self.start_s, 0, 86400)
        good = isfinite(self.end_s) and self.end_s > self.start_s
        require(good, f"An engagement from {self.start_s!r} s cannot end at {self.end_s!r} s.")
        require_positive("ap_start_mm", self.ap_start_mm)
        require_positive("ap_end_mm", self.ap_end_mm, optional=True)
        require_range("ap", self.ap_max_mm, 0, MOST_AP_MM)
        require_range("entry_s", self.entry_s, 0, 60)
        start, end = self.ramp
        require(
            self.start_s <= start < end <= self.end_s,
            f"A ramp from {start:g} to {end:g} s lies outside the cut.",
        )

    @property
    def ramp(self) -> tuple[float, float]:
        """Start and end of the depth ramp, s."""
        start = self.start_s if self.ramp_start_s is None else self.ramp_start_s
        return start, self.end_s if self.ramp_end_s is None else self.ramp_end_s

    @property
    def ap_max_mm(self) -> float:
        """The largest depth that is asked for anywhere."""
        deepest = max((corner.factor for corner in self.corners), default=1.0)
        return max(self.ap_start_mm, self.ap_end_mm or 0.0) * max(deepest, 1.0)

    def depth_mm(self, time_s: float) -> float:
        """Axial depth at a time, 0 outside the engagement."""
        if not self.start_s <= time_s < self.end_s:
            return 0.0
        start, end = self.ramp
        share = min(max((time_s - start) / (end - start), 0.0), 1.0)
        depth = self.ap_start_mm + share * ((self.ap_end_mm or self.ap_start_mm) - self.ap_start_mm)
        for corner in self.corners:
            depth *= corner.factor_at(time_s)
        near = min(time_s - self.start_s, self.end_s - time_s)
        return min(depth, self.ap_max_mm) * (min(near / self.entry_s, 1.0) if self.entry_s > 0 else 1.0)


@dataclass(frozen=True, kw_only=True)
class SpeedChange:
    """A turn of the spindle override.

    Attributes
    ----------
    start_s
        When it is turned, from the first sample of the recording.
    override
        Share of the speed from then on.
    ramp_s
        How long the spindle takes to get there.
    """

    start_s: float
    override: float
    ramp_s: float = 0.3

    def __post_init__(self):
        require_range("start_s", self.start_s, 0, 86400)
        require_range("override", self.override, 0.1, 2)
        require_range("ramp_s", self.ramp_s, 0.01, 600)


@dataclass(frozen=True, kw_only=True)
class Spindle:
    """How the spindle really turns and what it sounds like by itself.

    Attributes
    ----------
    nominal_rpm
        The number on the display.
    slip
        Share by which the true speed is below the nominal one; negative means faster.
    droop
        Further share lost while the teeth are in metal.
    wander
        Size of slow random changes, a share of the speed.
    start_s, stop_s
        When it starts and stops; None means it turned before and goes on turning.
    ramp_s
        Duration of spinning up and down.
    level_db
        Level of the idle spindle relative to the quiet cut, dB.
    belt_ratio
        Speed of a belt or countershaft relative to the spindle; 0 means none.
    gear_teeth
        Teeth of a gear on the spindle; 0 means none.
    drive_hz
        Switching tone of the drive; 0 means none.
    changes
        Turns of the override, in order.
    """

    nominal_rpm: float
    slip: float = 0.0
    droop: float = 0.0
    wander: float = 2e-4
    start_s: float | None = None
    stop_s: float | None = None
    ramp_s: float = 1.5
    level_db: float = -12.0
    belt_ratio: float = 0.0
    gear_teeth: int = 0
    drive_hz: float = 0.0
    changes: tuple[SpeedChange, ...] = ()

    def __post_init__(self):
        require_range("nominal_rpm", self.nominal_rpm, 100, 100_000)
        require_range("slip", self.slip, -0.2, 0.5)
        require_range("droop", self.droop, 0, 0.2)
        require_range("wander", self.wander, 0, 0.02)
        require_range("ramp_s", self.ramp_s, 0.05, 60)
        require_range("level_db", self.level_db, -120, 60)
        require_range("belt_ratio", self.belt_ratio, 0, 10)
        require_range("gear_teeth", self.gear_teeth, 0, 400)
        require_range("drive_hz", self.drive_hz, 0, 40_000)

    @property
    def true_rpm(self) -> float:
        """Speed in air, the override at 100 %."""
        return self.nominal_rpm * (1 - self.slip)

    @property
    def overrides(self) -> tuple[float, ...]:
        """Every share of the speed that the override asks for, 1 first."""
        return (1.0, *(change.override for change in self.changes))


@dataclass(frozen=True, kw_only=True)
class Neighbour:
    """Another machine in the room with a comb of its own.

    Attributes
    ----------
    rpm, flutes
        Its speed and number of teeth.
    level_db
        Relative to the quiet cut, dB.
    start_s, end_s
        While it can be heard; None means always.
    """

    rpm: float
    flutes: int = 4
    level_db: float = -10.0
    start_s: float = 0.0
    end_s: float | None = None

    def __post_init__(self):
        require_range("neighbour rpm", self.rpm, 30, 100_000)
        require_range("neighbour flutes", self.flutes, 1, 60)
        require_range("neighbour level_db", self.level_db, -120, 60)
        require_range("neighbour start_s", self.start_s, 0, 86400)
        good = self.end_s is None or self.end_s > self.start_s
        require(good, f"A neighbour from {self.start_s!r} s cannot end at {self.end_s!r} s.")


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """Sensor, room and noise.

    Attributes
    ----------
    sensor
        ``"microphone"`` or ``"accelerometer"`` (on the spindle).
    level_dbfs
        Root mean square of the quiet cut, dB re full scale; lowered where the peak would clip, unless `clip`.
    snr_db
        Quiet cut over all broadband background, dB.
    coolant
        Whether part of that background is coolant, switched on with the cut.
    coolant_lead_s, coolant_trail_s
        How long before an engagement coolant is switched on, and after it off; negative means within it.
    hum_hz, hum_db
        Mains frequency and level relative to the quiet cut.
    neighbours
        Other machines.
    reverberation_s
        Decay time of the room (60 dB); 0 means none.
    resonances
        Between cut and sensor, each frequency in Hz, damping ratio and share; empty means the sensor's usual.
    clip
        Whether the sensor may overload instead of the level being lowered.
    """

    sensor: Literal["microphone", "accelerometer"] = "microphone"
    level_dbfs: float = -30.0
    snr_db: float = 20.0
    coolant: bool = False
    hum_hz: float = 50.0
    hum_db: float = -30.0
    neighbours: tuple[Neighbour, ...] = ()
    reverberation_s: float = 0.25
    clip: bool = False
    coolant_lead_s: float = 1.0
    coolant_trail_s: float = 0.5
    resonances: tuple[tuple[float, float, float], ...] = ()

    def __post_init__(self):
        require(self.sensor in SENSORS, f"sensor must be {' or '.join(SENSORS)}, not {self.sensor!r}.")
        require_range("level_dbfs", self.level_dbfs, -120, 20)
        require_range("snr_db", self.snr_db, -40, 120)
        require_range("hum_hz", self.hum_hz, 0, 400)
        require_range("hum_db", self.hum_db, -120, 60)
        require_range("reverberation_s", self.reverberation_s, 0, 5)
        require_range("coolant_lead_s", self.coolant_lead_s, -3600, 3600)
        require_range("coolant_trail_s", self.coolant_trail_s, -3600, 3600)
        for frequency, damping, share in self.resonances:
            require_positive("a resonance's frequency", frequency)
            require_range("a resonance's damping", damping, 1e-4, 1)
            require_range("a resonance's share", share, 0, 1e3)


@dataclass(frozen=True, kw_only=True)
class PassPlan:
    """Everything that fixes a simulated pass, apart from the seed.

    Attributes
    ----------
    name, description
        For people.
    duration_s, sample_rate_hz
        Of the recording.
    assembly
        End mill (needs ``DC`` and ``NOF``) with stickout and runout.
    material
        With its force coefficients.
    modes
        Of the tool tip in x (feed) and y.
    milling, ae_mm, feed_per_tooth_mm
        The cut.
    engagements
        In order, not overlapping; may be empty.
    spindle, surroundings
        See there.
    tooth_scatter_um
        Random radial error of each tooth on top of the runout, µm.
    force_noise
        Random share of the force from step to step: chips are never all alike.
    loops
        Whether the end runs on into the beginning when played again and again.
    """

    name: str
    description: str = ""
    duration_s: float
    sample_rate_hz: float = 48000.0
    assembly: ToolAssembly
    material: Material
    modes: tuple[Mode, ...]
    milling: MillingKind = "climb"
    ae_mm: float
    feed_per_tooth_mm: float = 0.05
    engagements: tuple[Engagement, ...] = ()
    spindle: Spindle
    surroundings: Surroundings = field(default_factory=Surroundings)
    tooth_scatter_um: float = 1.0
    force_noise: float = 0.015
    loops: bool = False

    def __post_init__(self):
        require_range("duration_s", self.duration_s, 0.1, 3600)
        require_range("sample_rate_hz", self.sample_rate_hz, 4000, 384_000)
        require_range("tooth_scatter_um", self.tooth_scatter_um, 0, 1000)
        require_range("force_noise", self.force_noise, 0, 1)
        require_positive("feed_per_tooth_mm", self.feed_per_tooth_mm)
        self._check_tool()
        self._check_engagements()

    def _check_tool(self):
        mill, material = self.assembly.mill, self.material
        require(
            mill.DC is not None and mill.NOF is not None, "A simulated pass needs DC and NOF of the end mill."
        )
        require(material.ktc_n_per_mm2 is not None, f"Material {material.label!r} has no force coefficients.")
        require(len(self.modes) > 0, "A simulated pass needs at least one mode of the tool.")
        _ = self.entry_exit_rad

    def _check_engagements(self):
        ends = 0.0
        for engagement in self.engagements:
            inside = ends <= engagement.start_s and engagement.end_s <= self.duration_s
            require(
                inside,
                f"The engagement from {engagement.start_s:g} to {engagement.end_s:g} s overlaps another "
                f"or lies outside the {self.duration_s:g} s of the recording.",
            )
            ends = engagement.end_s

    @property
    def entry_exit_rad(self) -> tuple[float, float]:
        """Arc of the cut, rad."""
        return entry_exit(self.milling, self.ae_mm, self.assembly.mill.DC)

    @property
    def flutes(self) -> int:
        """Number of flutes."""
        return int(self.assembly.mill.NOF)
