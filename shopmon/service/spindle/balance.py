"""Balancing the spindle in one plane by a trial weight, as a calculation from runs that told their phase."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Any

from shopmon.errors import SettingError
from shopmon.signals.spindle.balance import balance_grade, imbalance, left_over, missing_for_grade

SCHEMA = "shopmon.balance/1"
NEAR_SPEED = 0.02
UNSURE_SHARE = 0.25
CAUTIONS = (
    "A trial weight only where the maker of spindle or holder provides for one, screwed in as he says: "
    "never glued, taped or clamped on. What comes loose flies off like a bullet.",
    "Stop the spindle and keep it from starting before you reach in; then guards shut, stand clear of its "
    "plane, and begin at the lowest speed.",
    "Never grind or drill spindle, holder or tool to balance them. Clean taper and holder first; the "
    "maker's manual and qualified people come before this calculation.",
)


@dataclass(frozen=True, kw_only=True)
class TrialWeight:
    """What was put on for the second run.

    Attributes
    ----------
    mass_g, radius_mm
        Its mass, and how far from the axis.
    angle_deg
        How far round from the tachometer's mark, against the direction of rotation.
    """

    mass_g: float
    radius_mm: float
    angle_deg: float = 0.0

    def __post_init__(self):
        for words, value, most in (("mass", self.mass_g, 1000.0), ("radius", self.radius_mm, 1000.0)):
            if not (isfinite(value) and 0 < value <= most):
                raise SettingError(
                    f"The trial weight's {words} cannot be {value!r}.", "Give grams, then millimetres."
                )
        if not -360 <= self.angle_deg <= 360:
            raise SettingError(
                f"The trial weight's angle cannot be {self.angle_deg!r}.",
                "Give degrees from the tachometer's mark, against the direction of rotation.",
            )


def trial_from_text(text: str) -> TrialWeight:
    """Read ``GRAMS:RADIUS_MM[:DEGREES]``.

    Raises
    ------
    SettingError
        It is none.
    """
    parts = text.split(":")
    try:
        if len(parts) not in (2, 3):
            raise ValueError
        numbers = [float(part) for part in parts]
    except ValueError:
        raise SettingError(
            f"{text!r} is no trial weight.", "Write GRAMS:RADIUS_MM:DEGREES, such as 0.8:30:90."
        ) from None
    return TrialWeight(mass_g=numbers[0], radius_mm=numbers[1], angle_deg=numbers[2] if numbers[2:] else 0.0)


def balance_of(
    before: Mapping[str, Any],
    with_trial: Mapping[str, Any],
    trial: TrialWeight,
    *,
    after: Mapping[str, Any] | None = None,
    mass_kg: float | None = None,
) -> dict[str, Any]:
    """Calculate imbalance, correction and grade; return ``shopmon.balance/1``.

    Parameters
    ----------
    before, with_trial
        Steady runs (``shopmon.spindle/1``) without and with the trial weight.
    trial
        The weight.
    after
        A run with the correction in place of the trial weight; None before there is one.
    mass_kg
        Of all that turns; None gives no grade.

    Raises
    ------
    SettingError
        A run without phase, runs at other speeds or by another sensor, or a mass that cannot be.
    RecordingError
        The trial weight hardly changed the vibration.
    """
    if mass_kg is not None and not (isfinite(mass_kg) and 0 < mass_kg <= 10_000):
        raise SettingError(f"The mass of what turns cannot be {mass_kg!r} kg.", "Leave it out, or weigh it.")
    runs = [run for run in (before, with_trial, after) if run is not None]
    _check(runs)
    told = [(run["once"]["amplitude"], run["once"]["phase_deg"]) for run in runs]
    weight = trial.mass_g * trial.radius_mm
    errors = before["once"]["error"], with_trial["once"]["error"]
    found = imbalance(told[0], told[1], weight, trial.angle_deg, errors=errors)
    left = left_over(told[2], told[0], told[1], weight, trial.angle_deg) if after is not None else None
    rpm = before["once"]["rpm"]

    def grade(unbalance_g_mm: float) -> float | None:
        return None if mass_kg is None else balance_grade(unbalance_g_mm, mass_kg, rpm)

    newest = left or found
    return {
        "schema": SCHEMA,
        "rpm": rpm,
        "unit": before["unit"],
        "runs": [{"amplitude": amplitude, "phase_deg": phase} for amplitude, phase in told],
        "trial": {"mass_g": trial.mass_g, "radius_mm": trial.radius_mm, "angle_deg": trial.angle_deg},
        "unbalance_g_mm": found.unbalance_g_mm,
        "error_g_mm": found.error_g_mm,
        "angle_deg": found.angle_deg,
        "correction": {
            "mass_g": newest.unbalance_g_mm / trial.radius_mm,
            "radius_mm": trial.radius_mm,
            "angle_deg": (newest.angle_deg + 180) % 360,
        },
        "left_g_mm": left.unbalance_g_mm if left else None,
        "mass_kg": mass_kg,
        "grade_mm_s": grade(newest.unbalance_g_mm),
        "grade_before_mm_s": grade(found.unbalance_g_mm),
        "missing": list(missing_for_grade(mass_kg=mass_kg, phases_known=True, trial_g_mm=weight)),
        "notices": _notices(found),
        "cautions": list(CAUTIONS),
    }


def _check(runs: list[Mapping[str, Any]]) -> None:
    for run in runs:
        if not run.get("once"):
            raise SettingError(
                f"The run at {run['stated_rpm']:.0f} rpm has no phase.",
                "Balance needs a tachometer with one mark on the shaft, in every run.",
            )
        if run["unit"] != runs[0]["unit"]:
            raise SettingError("The runs are in different units.", "Take the same sensor for all of them.")
        if abs(run["once"]["rpm"] / runs[0]["once"]["rpm"] - 1) > NEAR_SPEED:
            raise SettingError(
                f"The runs were at {runs[0]['once']['rpm']:.0f} and {run['once']['rpm']:.0f} rpm.",
                "Run all of them at one speed.",
            )


def _notices(found) -> list[dict]:
    notices = [
        {
            "code": "one-plane",
            "text": "One plane only: what two planes do to one another is not seen, and the housing's own "
            "vibration counts as the spindle's.",
            "hint": "Every change of tool moves the balance again: repeat a run before you trust it.",
        }
    ]
    if found.error_g_mm > UNSURE_SHARE * found.unbalance_g_mm:
        notices.append(
            {
                "code": "balance-unsure",
                "text": f"The imbalance is known to ±{found.error_g_mm:.3g} g mm only.",
                "hint": "Run longer or at a steadier speed, or take a heavier trial weight.",
            }
        )
    return notices
