"""Where each tooth is in the cut, and what the chip's forces become in x and y.

Conventions: the angle φ runs clockwise from +y (the normal), feed is +x, the tooth stands at (sin φ, cos φ).
A chip of thickness h gives Ft = Kt·b·h against the motion and Fr = Kr·b·h inwards, so that
Fx = −Ft cos φ − Fr sin φ and Fy = +Ft sin φ − Fr cos φ.
"""

from math import acos, isfinite, pi, radians, tan

import numpy as np

from shopmon.cutting.nouns import MillingKind, require, require_positive


def entry_exit(milling: MillingKind, ae_mm: float, diameter_mm: float) -> tuple[float, float]:
    """Entry and exit angle of a tooth, rad.

    Parameters
    ----------
    milling
        ``"climb"`` (down), ``"conventional"`` (up) or ``"slot"`` (`ae_mm` is then ignored).
    ae_mm, diameter_mm
        Radial depth and cutting diameter, mm.

    Examples
    --------
    >>> entry_exit("conventional", 5.0, 10.0)
    (0.0, 1.5707963267948966)
    """
    require(
        milling in ("climb", "conventional", "slot"),
        f"milling must be climb, conventional or slot, not {milling!r}.",
    )
    if milling == "slot":
        return 0.0, pi
    require_positive("diameter", diameter_mm)
    require_positive("ae", ae_mm)
    require(ae_mm <= diameter_mm, f"ae of {ae_mm:g} mm is more than the diameter of {diameter_mm:g} mm.")
    if milling == "conventional":
        return 0.0, acos(1 - 2 * ae_mm / diameter_mm)
    return acos(2 * ae_mm / diameter_mm - 1), pi


def tooth_angles(flutes: int, pitch_deg: tuple[float, ...] | None = None) -> np.ndarray:
    """Angle of each tooth on the cutter, rad, the first at 0; shape ``(flutes,)``."""
    require(int(flutes) == flutes and flutes >= 1, f"flutes must be a whole number from 1, not {flutes!r}.")
    if pitch_deg is None:
        return 2 * pi * np.arange(flutes) / flutes
    return np.radians(np.concatenate(([0.0], np.cumsum(pitch_deg)[:-1])))


def lag_per_mm(helix_deg: float, diameter_mm: float) -> float:
    """Angle by which the helix makes the edge lag per mm of height, rad/mm."""
    require(
        isfinite(helix_deg) and -80 <= helix_deg <= 80,
        f"helix must be within ±80 degrees, not {helix_deg!r}.",
    )
    return 2 * tan(radians(helix_deg)) / diameter_mm


def directional_integral(angle: np.ndarray, kr: float) -> np.ndarray:
    """Antiderivative over φ of the matrix that turns displacement into force, per unit Kt·b.

    The matrix is D(φ) = [−cos φ − Kr sin φ, sin φ − Kr cos φ]ᵀ [sin φ, cos φ]; differences of the
    antiderivative over a step are exact averages, whatever the step.

    Returns
    -------
    numpy.ndarray
        Shape ``angle.shape + (2, 2)``; rows are force axes, columns displacement axes.
    """
    half, quarter = angle / 2, np.sin(2 * angle) / 4
    sine_sine, cosine_cosine, sine_cosine = half - quarter, half + quarter, np.sin(angle) ** 2 / 2
    matrix = np.empty((*np.shape(angle), 2, 2))
    matrix[..., 0, 0] = -sine_cosine - kr * sine_sine
    matrix[..., 0, 1] = -cosine_cosine - kr * sine_cosine
    matrix[..., 1, 0] = sine_sine - kr * sine_cosine
    matrix[..., 1, 1] = sine_cosine - kr * cosine_cosine
    return matrix


def directional_matrix(angle: np.ndarray, kr: float) -> np.ndarray:
    """The matrix D(φ) of `directional_integral` itself, whether or not the tooth is in the cut.

    Returns
    -------
    numpy.ndarray
        Shape ``angle.shape + (2, 2)``, per unit Kt·b; an outer product of force direction and chip direction.
    """
    force = np.stack([-np.cos(angle) - kr * np.sin(angle), np.sin(angle) - kr * np.cos(angle)], axis=-1)
    chip = np.stack([np.sin(angle), np.cos(angle)], axis=-1)
    return force[..., :, None] * chip[..., None, :]


def directional_average(
    start: np.ndarray, stop: np.ndarray, entry: float, exit_: float, kr: float
) -> np.ndarray:
    """Average of the directional matrix over each interval of angle, counting only the part in the cut.

    Parameters
    ----------
    start, stop
        Bounds of each interval, rad, of any length and on any turn; shape ``(steps,)``.
    entry, exit_
        Of the cut, rad, within 0 and π.
    kr
        Radial over tangential coefficient.

    Returns
    -------
    numpy.ndarray
        Shape ``(steps, 2, 2)``, per unit Kt·b.
    """
    bounds = np.stack([start, stop])
    turns = np.floor(bounds / (2 * pi))
    inside = np.clip(bounds - 2 * pi * turns, entry, exit_)
    total = np.diff(directional_integral(inside, kr), axis=0)[0]
    if np.any(turns[1] != turns[0]):
        whole = np.diff(directional_integral(np.array([entry, exit_]), kr), axis=0)[0]
        total += (turns[1] - turns[0])[..., None, None] * whole
    return total / (stop - start)[..., None, None]
