r"""Marks that a cut leaves on a side wall: where to expect them, and what a chatter tone looks like there.

A tooth makes the wall at the one moment at which it stands square to it. So the wall shows the tool's
position once per tooth, at steps of the feed per tooth, as a stroboscope would: a vibration of frequency f
leaves waves of length vf/\\|f − k·f_tp\\|, with k·f_tp the multiple of tooth passing that is nearest. Where
runout lets one tooth make the whole wall (it stands out by more than fz²/D,
`shopmon.cutting.finishing.marks.marking_teeth`), the wall is sampled once per turn and the rotation takes
the place of tooth passing.

A helix makes the wall later higher up, by τ = tan β/(π D n/60) per mm. Tooth j makes the height z at
t = j/f_tp + τ z and x = vf·t; putting j into cos 2πft and taking whole turns off leaves waves of
(f − k f_tp)/vf cycles per mm along the feed and k f_tp τ = k N tan β/(π D) along the axis. So chatter
marks are slanted, the more the longer they are, and the marks of the teeth (fixed j) all but upright.

Passes leave arcs that are only fz²/D high, a fraction of a µm. Chatter that is stronger by ten or a hundred
times leaves nothing of most passes: only the deepest are seen, the wave is no longer round, and its
overtones m·f are folded as f is. Of 150 drawn tones of an amplitude 30 times fz²/D the strongest line of the
wall's slope was that of m = 1 in 56 %, of 2 or 3 in the others; at 3 times it was always m = 1.

All of it is derived here; the tests hold it against walls cut by the simulated tool.
"""

from dataclasses import dataclass
from math import atan, degrees, hypot, inf, pi, radians, tan

from shopmon.cutting.nouns import MOST_MODE_HZ, MOST_RPM, require, require_flutes, require_positive
from shopmon.errors import SettingError

FEED_SHARE = 0.01  # how well a table keeps its feed; our judgement, no source
SPEED_SHARE = 0.002  # of a speed that was heard; one that was only told may be off by a percent or two
MOST_FEED_MM_MIN = 1e5
IN_STEP_MM = 1e3  # longer waves than any wall: the vibration is in step with the teeth


@dataclass(frozen=True, kw_only=True)
class WallCut:
    """The cut that made a wall.

    Attributes
    ----------
    rpm, flutes, feed_mm_min
        Spindle speed, number of teeth (equal pitch) and table feed in mm per minute.
    diameter_mm, helix_deg
        Of the tool, None where nobody said: then no slant is told.
    rpm_share, feed_share
        Standard uncertainty of speed and feed, as shares.
    """

    rpm: float
    flutes: int
    feed_mm_min: float
    diameter_mm: float | None = None
    helix_deg: float | None = None
    rpm_share: float = SPEED_SHARE
    feed_share: float = FEED_SHARE

    def __post_init__(self):
        _within("Spindle speed", self.rpm, MOST_RPM, "rpm")
        _within("Table feed", self.feed_mm_min, MOST_FEED_MM_MIN, "mm/min")
        require_flutes(self.flutes)
        if self.diameter_mm is not None:
            _within("Diameter", self.diameter_mm, 1e3, "mm")
        if self.helix_deg is not None:
            require(-80 <= self.helix_deg <= 80, "The helix must be within ±80 degrees.")
        _within("Uncertainty of the speed", self.rpm_share, 0.5, "")
        _within("Uncertainty of the feed", self.feed_share, 0.5, "")

    @property
    def rotation_hz(self) -> float:
        """Turns per second."""
        return self.rpm / 60

    @property
    def tooth_passing_hz(self) -> float:
        """Teeth per second."""
        return self.flutes * self.rotation_hz

    @property
    def feed_mm_s(self) -> float:
        """Table feed in mm per second."""
        return self.feed_mm_min / 60

    @property
    def feed_per_tooth_mm(self) -> float:
        """Distance between the marks of neighbouring teeth."""
        return self.feed_mm_s / self.tooth_passing_hz

    @property
    def feed_per_turn_mm(self) -> float:
        """Distance between two marks of one tooth."""
        return self.feed_mm_s / self.rotation_hz

    @property
    def turns_per_mm_of_axis(self) -> float | None:
        """Share of a turn by which the helix lags per mm of height; None where it is not known."""
        if self.diameter_mm is None or self.helix_deg is None:
            return None
        return tan(radians(self.helix_deg)) / (pi * self.diameter_mm)


def _within(name: str, value: float, most: float, unit: str) -> None:
    require_positive(name, value)
    require(value <= most, f"{name} of {value:g} {unit} cannot be.".replace("  ", " "), "Check the number.")


@dataclass(frozen=True, kw_only=True)
class Folded:
    """A vibration as the wall shows it.

    Attributes
    ----------
    frequency_hz, overtone
        Of the vibration, and m: which of its overtones, 1 for itself.
    multiple
        k of the multiple of tooth passing (or of the rotation) that is taken off.
    off_hz
        m times the frequency less that multiple; its size is what passes over the wall per second.
    spacing_mm
        Along the feed; infinite where the vibration is in step.
    low_mm, high_mm
        Where the spacing lies in about 19 of 20 cases, from the uncertainties of frequency, speed and feed.
    slant_deg
        Of the marks against the tool's axis, without sign; None where diameter or helix are not known.
    axial_mm
        From mark to mark along the tool's axis; None like `slant_deg`, infinite for upright marks.
    """

    frequency_hz: float
    overtone: int
    multiple: int
    off_hz: float
    spacing_mm: float
    low_mm: float
    high_mm: float
    slant_deg: float | None
    axial_mm: float | None

    @property
    def in_step(self) -> bool:
        """True where no marks can be told: the waves may be longer than any wall."""
        return self.spacing_mm > IN_STEP_MM


def folded(
    cut: WallCut,
    frequency_hz: float,
    *,
    frequency_u_hz: float = 1.0,
    one_tooth: bool = False,
    overtone: int = 1,
    multiple: int | None = None,
) -> Folded:
    """Work out the marks that a vibration leaves.

    Parameters
    ----------
    cut
        The cut.
    frequency_hz
        Of the chatter.
    frequency_u_hz
        Its standard uncertainty.
    one_tooth
        True where runout lets one tooth make the wall: folded by the rotation, not by tooth passing.
    overtone
        m, see `Folded`.
    multiple
        k; None takes the nearest.

    Raises
    ------
    SettingError
        A frequency that cannot be.

    Examples
    --------
    >>> cut = WallCut(rpm=12000, flutes=3, feed_mm_min=1800)
    >>> marks = folded(cut, 1432.6)  # 2 × 600 Hz is nearest, 232.6 Hz away
    >>> marks.multiple, round(marks.off_hz, 1), round(marks.spacing_mm, 4)
    (2, 232.6, 0.129)
    """
    _within("Frequency", frequency_hz, MOST_MODE_HZ, "Hz")
    require(frequency_u_hz >= 0, "The uncertainty of a frequency is not negative.")
    sampled_hz = cut.rotation_hz if one_tooth else cut.tooth_passing_hz
    if multiple is None:
        multiple = round(overtone * frequency_hz / sampled_hz)
    off_hz = overtone * frequency_hz - multiple * sampled_hz
    off_u_hz = hypot(overtone * frequency_u_hz, multiple * sampled_hz * cut.rpm_share)
    low, high = _spread(cut.feed_mm_s, abs(off_hz), 2 * off_u_hz, 2 * cut.feed_share)
    spacing = _over(cut.feed_mm_s, abs(off_hz))
    slant, axial = _slant(cut, multiple * (1 if one_tooth else cut.flutes), spacing)
    return Folded(
        frequency_hz=frequency_hz,
        overtone=overtone,
        multiple=multiple,
        off_hz=off_hz,
        spacing_mm=spacing,
        low_mm=low,
        high_mm=high,
        slant_deg=slant,
        axial_mm=axial,
    )


def _over(feed_mm_s: float, off_hz: float) -> float:
    spacing = feed_mm_s / off_hz if off_hz > 0 else inf
    return spacing if spacing <= IN_STEP_MM else inf


def _spread(feed_mm_s: float, off_hz: float, spread_hz: float, feed_share: float) -> tuple[float, float]:
    low = _over(feed_mm_s, off_hz + spread_hz)
    high = _over(feed_mm_s, max(off_hz - spread_hz, 0.0))
    return low * (1 - feed_share), high * (1 + feed_share)


def _slant(cut: WallCut, rotations: int, spacing_mm: float) -> tuple[float | None, float | None]:
    """Return slant and axial spacing of waves that are folded at a multiple of the rotation."""
    lag = cut.turns_per_mm_of_axis
    if lag is None:
        return None, None
    per_mm = abs(lag) * rotations
    axial = 1 / per_mm if per_mm > 0 else inf
    return (0.0 if per_mm == 0 else 90.0 if spacing_mm == inf else degrees(atan(spacing_mm * per_mm))), axial


def wall_cut(known: dict) -> WallCut | None:
    """Make the cut of what is known of it; None where speed, flutes or feed are missing.

    Parameters
    ----------
    known
        Field names of `WallCut`; None counts as not known.
    """
    given = {name: value for name, value in known.items() if value is not None}
    if not all(name in given for name in ("rpm", "flutes", "feed_mm_min")):
        return None
    try:
        return WallCut(**given)
    except TypeError as exc:
        raise SettingError("What is known of the cut is no list of numbers.", "Give numbers.") from exc
