"""Balance of a spindle in one plane, from the vibration at once per turn with and without a trial weight.

The vibration alone is no imbalance: how far the housing answers to a force is not known. A trial weight at a
known place makes it known (single-plane influence coefficient, the method of vectors). The grade is that of
ISO 21940-11: G is the residual unbalance per mass, times the angular speed.
"""

from cmath import phase, rect
from dataclasses import dataclass
from math import degrees, hypot, isfinite, pi, radians

from shopmon.errors import RecordingError, SettingError

LEAST_ANSWER = 0.1  # of the vibration before: a trial weight that changes less tells nothing
LEAST_OVER_ERROR = 4.0  # the change over its own error
Vibration = tuple[float, float]


@dataclass(frozen=True)
class Imbalance:
    """Where the heavy spot is.

    Attributes
    ----------
    unbalance_g_mm
        Mass times radius.
    angle_deg
        Of the heavy spot, in the direction in which the phases were counted.
    error_g_mm
        Standard error, from the errors of the vibration; 0 where they are not known.
    """

    unbalance_g_mm: float
    angle_deg: float
    error_g_mm: float = 0.0


def imbalance(
    before: Vibration,
    with_trial: Vibration,
    trial_g_mm: float,
    trial_deg: float = 0.0,
    *,
    errors: tuple[float, float] = (0.0, 0.0),
) -> Imbalance:
    """Return the imbalance that was there before the trial weight.

    Parameters
    ----------
    before, with_trial
        Amplitude (any unit) and phase in degrees of the vibration at once per turn, at one speed.
    trial_g_mm, trial_deg
        The trial weight's mass times radius, and where it was.
    errors
        Standard errors of both amplitudes.

    Raises
    ------
    SettingError
        A number that cannot be.
    RecordingError
        The trial weight hardly changed the vibration.
    """
    original, answer = _answer(before, with_trial, trial_g_mm, trial_deg, errors)
    there = original / answer
    share = there / rect(trial_g_mm, radians(trial_deg))
    error = hypot(abs(1 + share) * errors[0], abs(share) * errors[1]) / abs(answer)
    return Imbalance(abs(there), degrees(phase(there)) % 360, error)


def left_over(
    after: Vibration, before: Vibration, with_trial: Vibration, trial_g_mm: float, trial_deg: float = 0.0
) -> Imbalance:
    """Return the imbalance of a third run, by the answer of the housing that the first two told.

    Parameters
    ----------
    after
        Amplitude and phase with the correction in place of the trial weight.
    before, with_trial, trial_g_mm, trial_deg
        As for `imbalance`; it raises what that does.
    """
    if not all(isfinite(value) for value in after) or after[0] < 0:
        raise SettingError("Amplitudes must be numbers above 0.", "Measure again.")
    _, answer = _answer(before, with_trial, trial_g_mm, trial_deg, (0.0, 0.0))
    there = rect(after[0], radians(after[1])) / answer
    return Imbalance(abs(there), degrees(phase(there)) % 360)


def _answer(before, with_trial, trial_g_mm, trial_deg, errors) -> tuple[complex, complex]:
    """Return the vibration before, and the housing's answer per g mm at the mark."""
    numbers = (*before, *with_trial, trial_g_mm, trial_deg, *errors)
    if not all(isfinite(value) for value in numbers) or min(before[0], with_trial[0]) < 0 or trial_g_mm <= 0:
        raise SettingError("Amplitudes and the trial weight must be numbers above 0.", "Measure again.")
    original = rect(before[0], radians(before[1]))
    added = rect(with_trial[0], radians(with_trial[1])) - original
    if abs(added) <= max(LEAST_ANSWER * abs(original), LEAST_OVER_ERROR * hypot(*errors)):
        raise RecordingError(
            "The trial weight hardly changed the vibration.",
            "Take a heavier one, within what the maker allows.",
        )
    return original, added / rect(trial_g_mm, radians(trial_deg))


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
