"""Measured modes as a person types them, or copies them from a tap test."""

from shopmon.cutting.nouns import Mode
from shopmon.errors import SettingError

FORM = "AXIS:HZ:DAMPING:STIFFNESS, such as x:1450:0.03:8e6 y:1620:0.025:9e6 (stiffness in N/m)"


def modes_of(text: str | None) -> tuple[Mode, ...]:
    """Read any number of modes, separated by spaces; nothing gives none.

    Raises
    ------
    SettingError
        A word that is no mode, or a mode that cannot be.

    Examples
    --------
    >>> [mode.frequency_hz for mode in modes_of("--mode x:1450:0.03:8e6 --mode y:1620:0.025:9e6")]
    [1450.0, 1620.0]
    """
    found = []
    for word in (text or "").split():
        if word == "--mode":  # as the tap test writes it for the command line
            continue
        try:
            axis, *numbers = word.split(":")
            frequency, damping, stiffness = (float(number) for number in numbers)
        except ValueError as exc:
            raise SettingError(f"{word[:40]!r} is no mode.", f"Write {FORM}.") from exc
        try:
            mode = Mode(axis=axis, frequency_hz=frequency, damping_ratio=damping, stiffness_n_per_m=stiffness)
        except SettingError as exc:
            raise SettingError(exc.text, exc.hint or f"Write {FORM}.") from exc
        found.append(mode)
    return tuple(found)
