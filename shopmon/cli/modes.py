"""Modes of the tool tip as the command line writes them."""

from shopmon.cutting.nouns import Mode
from shopmon.errors import SettingError

MODE_FORM = "AXIS:HZ:DAMPING:STIFFNESS, for example x:922:0.011:1.34e6"


def parse_mode(text: str) -> Mode:
    """Read a mode as ``AXIS:FREQUENCY_HZ:DAMPING_RATIO:STIFFNESS_N_PER_M``."""
    try:
        axis, *numbers = text.split(":")
        frequency, damping, stiffness = (float(number) for number in numbers)
    except ValueError as exc:
        raise SettingError(f"--mode {text!r} is not a mode.", f"Write {MODE_FORM}.") from exc
    return Mode(axis=axis, frequency_hz=frequency, damping_ratio=damping, stiffness_n_per_m=stiffness)
