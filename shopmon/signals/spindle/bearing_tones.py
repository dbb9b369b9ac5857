"""Which tones a rolling bearing makes, from its geometry.

For a bearing whose inner ring turns (T. A. Harris, *Rolling Bearing Analysis*; the same formulas in R. B.
Randall, J. Antoni, *Mech. Syst. Signal Process.* 25, 2011, 485-520). Real bearings slip: their tones lie up
to 2 % off.
"""

from dataclasses import dataclass
from math import cos, radians

from shopmon.errors import SettingError

MOST_BALLS = 200
MOST_MULTIPLE = 200.0


@dataclass(frozen=True)
class BearingTones:
    """Frequencies of a bearing's defects, as multiples of the rotation of the inner ring.

    Attributes
    ----------
    outer, inner
        Balls passing a spot of the outer and of the inner race.
    ball
        A spot of a ball striking the races: twice its own rotation, since it meets both.
    cage
        The cage's rotation.
    """

    outer: float | None = None
    inner: float | None = None
    ball: float | None = None
    cage: float | None = None

    def __post_init__(self):
        given = [value for value in (self.outer, self.inner, self.ball, self.cage) if value is not None]
        if not given:
            raise SettingError("No tone of the bearing is given.", "Give at least outer and inner.")
        if not all(0 < value < MOST_MULTIPLE for value in given):
            raise SettingError(
                f"A bearing's multiples must lie between 0 and {MOST_MULTIPLE:g}: {given}.",
                "They are given per turn of the shaft, for example outer=3.585.",
            )


def bearing_tones(balls: int, ball_mm: float, pitch_mm: float, angle_deg: float = 0.0) -> BearingTones:
    """Return a bearing's tones from its geometry.

    Parameters
    ----------
    balls
        Number of balls or rollers in a row.
    ball_mm, pitch_mm
        Diameter of a ball, and of the circle through the balls' centres; any unit, the same for both.
    angle_deg
        Contact angle; 15 or 25 degrees in most milling spindles.

    Raises
    ------
    SettingError
        Such a bearing cannot be: the balls do not fit on their circle, or the angle is no contact angle.

    Examples
    --------
    >>> tones = bearing_tones(9, 0.3126, 1.537)
    >>> round(tones.inner, 4), round(tones.outer, 4)
    (5.4152, 3.5848)
    """
    if not 3 <= balls <= MOST_BALLS:
        raise SettingError(f"A bearing has 3 to {MOST_BALLS} balls in a row, not {balls!r}.")
    if not 0 <= angle_deg < 60:
        raise SettingError(f"A contact angle is from 0 to 60 degrees, not {angle_deg!r}.")
    if not (ball_mm > 0 and pitch_mm > 0 and balls * ball_mm < 3.1416 * pitch_mm):
        raise SettingError(
            f"{balls} balls of {ball_mm:g} do not fit on a circle of {pitch_mm:g}.",
            "Give the balls' diameter, then the diameter of the circle through their centres.",
        )
    slope = ball_mm / pitch_mm * cos(radians(angle_deg))
    return BearingTones(
        outer=balls / 2 * (1 - slope),
        inner=balls / 2 * (1 + slope),
        ball=pitch_mm / ball_mm * (1 - slope * slope),
        cage=(1 - slope) / 2,
    )
