"""Balance of a spindle in one plane, from the vibration at once per turn with and without a trial weight.

The vibration alone is no imbalance: how far the housing answers to a force is not known. A trial weight at a
known place makes it known (single-plane influence coefficient, the method of vectors). The grade is that of
ISO 21940-11: G is the residual unbalance per mass, times the angular speed.
"""

from cmath import phase, rect
from dataclasses import dataclass
from math import degrees, isfinite, pi, radians

from shopmon.errors import RecordingError, SettingError

LEAST_ANSWER = 0.1  # of the vibration before: a trial weight that changes less tells nothing


@dataclass(frozen=True)
class Imbalance:
    """Where the heavy spot is.

    Attributes
    ----------
    unbalance_g_mm
        Mass times radius.
    angle_deg
        Of the heavy spot, in the direction in which the phases were counted.
    """

    unbalance_g_mm: float
    angle_deg: float


def imbalance(
    before: tuple[float, float], with_trial: tuple[float, float], trial_g_mm: float, trial_deg: float = 0.0
) -> Imbalance:
    """Return the imbalance that was there before the trial weight.

    Parameters
    ----------
    before, with_trial
        Amplitude (any unit) and phase in degrees of the vibration at once per turn, at one speed.
    trial_g_mm, trial_deg
        The trial weight's mass times radius, and where it was.

    Raises
    ------
    SettingError
        A number that cannot be.
    RecordingError
        The trial weight hardly changed the vibration.
    """
    numbers = (*before, *with_trial, trial_g_mm, trial_deg)
    if not all(isfinite(value) for value in numbers) or min(before[0], with_trial[0]) < 0 or trial_g_mm <= 0:
        raise SettingError("Amplitudes and the trial weight must be numbers above 0.", "Measure again.")
    original = rect(before[0], radians(before[1]))
    added = rect(with_trial[0], radians(with_trial[1])) - original
    if abs(added) <= LEAST_ANSWER * abs(original) or abs(added) == 0:
        raise RecordingError(
            "The trial weight hardly changed the vibration.",
            "Take a heavier one, within what the maker allows.",
        )
    there = original / added * rect(trial_g_mm, radians(trial_deg))
    return Imbalance(abs(there), degrees(phase(there)) % 360)


def balance_grade(unbalance_g_mm: float, mass_kg: float, rpm: float) -> float:
    """Return the balance quality G in mm/s.

    Examples
    --------
    4 g mm on 1 kg at 15 000 rpm is G 6.3 (a tool-holder catalogue's example).

    >>> round(balance_grade(4.0107, 1.0, 15000.0), 2)
    6.3
    """
    if not all(isfinite(value) and value > 0 for value in (mass_kg, rpm)) or not unbalance_g_mm >= 0:
        raise SettingError("Mass and speed must be above 0.", "Weigh what turns; say the speed.")
    return unbalance_g_mm / mass_kg * 2 * pi * rpm / 60 / 1000


def missing_for_grade(
    *, mass_kg: float | None, phases_known: bool, trial_g_mm: float | None
) -> tuple[str, ...]:
    """Return what is missing for a balance grade, in words; nothing where it can be told."""
    return tuple(
        words
        for words, there in (
            ("the mass of all that turns", mass_kg is not None),
            ("the phase of the vibration, from a tachometer", phases_known),
            ("a second run with a trial weight at a known place", trial_g_mm is not None),
        )
        if not there
    )
