"""What the listener has been told: the settings it starts with and the context it cuts in."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from shopmon.listening.preferences import (
    FEWEST_FALSE_ALARMS,
    MOST_FALSE_ALARMS,
    Preferences,
    preferences_as_data,
    preferences_from,
)


@dataclass(frozen=True, kw_only=True)
class Setup:
    """What is known of the tool and the speed now; None where nobody said.

    A change takes effect at a sample index, so that the same change replayed gives the same events. ``job``
    stands for everything else that makes it another cut (tool, material, part, operation); only whether it
    differs counts. ``preferences`` are the person's and begin no new cut; nor does ``expected_cut_s``, the
    cut time that the present cut should come to, None where nobody knows; nor ``tool``, which names what is
    in the spindle for preferences that hold with one tool only.
    """

    nominal_rpm: float | None = None
    flutes: int | None = None
    job: str = ""
    preferences: Preferences = field(default_factory=Preferences)
    expected_cut_s: float | None = None
    tool: str = ""

    def __post_init__(self):
        if self.nominal_rpm is not None and not 0 < self.nominal_rpm <= 200_000:
            raise ValueError(f"spindle speed {self.nominal_rpm!r} rpm is not between 0 and 200,000")
        if self.flutes is not None and not 1 <= self.flutes <= 50:
            raise ValueError(f"{self.flutes!r} flutes is not between 1 and 50")
        if self.expected_cut_s is not None and not 0 < self.expected_cut_s <= 86_400:
            raise ValueError(f"an expected cut of {self.expected_cut_s!r} s is not between 0 and a day")


def setup_as_data(setup: Setup) -> dict[str, Any]:
    """Return a setup as JSON knows it."""
    return {**asdict(setup), "preferences": preferences_as_data(setup.preferences)}


def setup_from(data: Mapping[str, Any]) -> Setup:
    """Undo `setup_as_data`."""
    return Setup(**{**data, "preferences": preferences_from(data.get("preferences"))})


@dataclass(frozen=True, kw_only=True)
class ListenerSettings:
    """Configuration of the engine; part of what an analysis is identified by.

    Attributes
    ----------
    min_rpm, max_rpm
        Speed range of the spindle, searched when no speed is given.
    cut_gap_s
        Engagements closer than this belong to one cut.
    sensor
        What kind of sensor is heard through.
    false_alarms_per_hour
        How many false chatter alarms the person accepts in an hour of cutting.
    """

    min_rpm: float = 500.0
    max_rpm: float = 30_000.0
    cut_gap_s: float = 3.0
    sensor: Literal["microphone", "accelerometer"] = "microphone"
    false_alarms_per_hour: float = 0.1

    def __post_init__(self):
        if not 30 <= self.min_rpm < self.max_rpm <= 200_000:
            raise ValueError(
                f"a speed range from {self.min_rpm!r} to {self.max_rpm!r} rpm is not within 30 to 200,000"
            )
        if not 0.1 <= self.cut_gap_s <= 600:
            raise ValueError(f"a cut gap of {self.cut_gap_s!r} s is not between 0.1 and 600")
        if not FEWEST_FALSE_ALARMS <= self.false_alarms_per_hour <= MOST_FALSE_ALARMS:
            raise ValueError(
                f"{self.false_alarms_per_hour!r} false alarms per hour of cutting is not between "
                f"{FEWEST_FALSE_ALARMS:g} and {MOST_FALSE_ALARMS:g}"
            )
