"""The tachometer in a spindle check: the truth of the speed, as far as it agrees with what was asked."""

import numpy as np

from shopmon.signals.sensors.tachometer import speed_along, turns_of
from shopmon.signals.spindle.run_up import SHORTEST_S, SpeedTrack, speed_track

FAR_OFF, TWICE = 0.1, 0.06
TWICE_LOW, BEYOND_ASKED = 1.6, 0.25


def speed_of(places: np.ndarray, sample_rate_hz: float, asked_rpm: float) -> tuple[float | None, list[dict]]:
    """Return the speed that the pulses of a steady run tell, and what there is to say of them.

    Parameters
    ----------
    places
        Where pulses begin, in samples, rising.
    sample_rate_hz
        Samples per second.
    asked_rpm
        What the person was asked to set.

    Returns
    -------
    tuple
        The speed in rpm, None where the pulses make no rotation or one far from what was asked; notices.
    """
    turns = turns_of(places, sample_rate_hz)
    if turns.rotation_hz is None:
        return None, [_notice("tach-unsteady", "The tachometer's pulses make no steady rotation.",
                              "Look at its mark and its distance; the speed is taken by ear.")]  # fmt: skip
    rpm, notices = 60 * turns.rotation_hz, []
    if abs(rpm / asked_rpm / 2 - 1) < TWICE:
        rpm /= 2
        notices.append(
            _notice("tach-two-a-turn", "The tachometer tells twice the speed asked: two marks a turn?",
                    "Half of it was taken. Cover one of the marks.")
        )  # fmt: skip
    elif turns.per_turn == 2:
        notices.append(
            _notice("tach-two-a-turn", "The tachometer gives two pulses a turn.", "Cover one of the marks.")
        )
    if turns.missing or turns.doubled:
        notices.append(
            _notice("tach-repaired",
                    f"Pulses of the tachometer: {turns.missing} lost and {turns.doubled} double, repaired.",
                    "Clean the mark, or set its sensor nearer.")
        )  # fmt: skip
    if abs(rpm / asked_rpm - 1) > FAR_OFF:
        return None, [*notices, _notice(
            "tach-disagrees", f"The tachometer says {rpm:.0f} rpm where {asked_rpm:.0f} rpm was asked.",
            "Check both; the speed is taken by ear.")]  # fmt: skip
    return rpm, notices


def track_of(
    places: np.ndarray, samples: int, sample_rate_hz: float, low_rpm: float, high_rpm: float
) -> tuple[SpeedTrack | None, list[dict]]:
    """Return the speed along a run-up as the pulses tell it, and what there is to say of them.

    Parameters
    ----------
    places
        Where pulses begin, in samples, rising.
    samples, sample_rate_hz
        Length of the run's sound, and its samples per second.
    low_rpm, high_rpm
        Between which the run was asked.

    Returns
    -------
    tuple
        The track, None where the pulses make no rotation or leave what was asked far behind; notices.
    """
    found = speed_along(places, sample_rate_hz)
    if found is None or found[0][-1] - found[0][0] < SHORTEST_S:
        text = "The tachometer's pulses make no rotation in the run-up."
        hint = "Look at its mark and its distance; the speed is followed by ear."
        return None, [_notice("tach-unsteady", text, hint)]
    at_s, hz = found
    notices = []
    if 60 * np.percentile(hz, 2) > TWICE_LOW * low_rpm and 60 * np.percentile(hz, 98) > TWICE_LOW * high_rpm:
        hz = hz / 2
        notices.append(
            _notice("tach-two-a-turn", "The tachometer tells twice the speeds asked: two marks a turn?",
                    "Half of it was taken. Cover one of the marks.")
        )  # fmt: skip
    if 60 * hz.max() > (1 + BEYOND_ASKED) * high_rpm or 60 * hz.min() < low_rpm / (1 + BEYOND_ASKED):
        text = (
            f"The tachometer says {60 * hz.min():.0f} to {60 * hz.max():.0f} rpm where {low_rpm:.0f} to "
            f"{high_rpm:.0f} rpm was asked."
        )
        said = _notice("tach-disagrees", text, "Check both; the speed is followed by ear.")
        return None, [*notices, said]
    return speed_track(at_s, hz, samples, sample_rate_hz), notices


def _notice(code: str, text: str, hint: str) -> dict:
    return {"code": code, "text": text, "hint": hint}
