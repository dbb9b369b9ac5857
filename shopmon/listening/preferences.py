"""What the person wants of the listener, apart from what is cut: how careful to be, what to pass over."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

FEWEST_FALSE_ALARMS, MOST_FALSE_ALARMS = 0.001, 20.0
MOST_TONES = 64
WIDTH, LEAST_WIDTH_HZ = 0.003, 4.0
REJECTED_DB = -30.0
FAMILY_WIDTH, MOST_SHARE = 0.006, 1 / 16


@dataclass(frozen=True, kw_only=True)
class RejectedTone:
    """A tone that a person said is not chatter: at a fixed frequency, or at a multiple of the rotation.

    Exactly one of the two is given; ``order`` need not be whole (a belt's other pulley). With ``family`` its
    relatives are meant, too: every tone whose distance from it, or sum with it, is a multiple of the
    rotation. ``only_with`` names the tool it was rejected with (see `Setup.tool`); empty, it holds with any.
    """

    frequency_hz: float | None = None
    order: float | None = None
    family: bool = False
    only_with: str = ""

    def __post_init__(self):
        if (self.frequency_hz is None) == (self.order is None):
            raise ValueError("a rejected tone has either a frequency or an order")
        if self.frequency_hz is not None and not 10 <= self.frequency_hz <= 200_000:
            raise ValueError(f"a tone of {self.frequency_hz!r} Hz is not between 10 and 200,000")
        if self.order is not None and not 0.01 <= self.order <= 1000:
            raise ValueError(f"an order of {self.order!r} is not between 0.01 and 1000")

    def place_hz(self, rotation_hz: float) -> float:
        """Where it lies at a rotation frequency."""
        return self.frequency_hz if self.order is None else self.order * rotation_hz

    def is_at(self, frequency_hz: np.ndarray, rotation_hz: float) -> np.ndarray:
        """Tell which lines are this tone, or with ``family`` of its family; shape as `frequency_hz`."""
        found = near(frequency_hz, (self.place_hz(rotation_hz),))
        return found | self.is_related(frequency_hz, rotation_hz) if self.family else found

    def is_related(self, frequency_hz: np.ndarray, rotation_hz: float, overtone: int = 1) -> np.ndarray:
        """Tell which lines lie in steps of the rotation from this tone, or from an overtone of it.

        A family drifts with the load, so it is wider than the tone alone; at low speed it may not cover more
        than a quarter of all pitches.
        """
        if not rotation_hz > 0:
            return np.zeros(np.shape(frequency_hz), dtype=bool)
        place = overtone * self.place_hz(rotation_hz)
        width = min(max(LEAST_WIDTH_HZ, FAMILY_WIDTH * place), MOST_SHARE * rotation_hz)
        found = np.zeros(np.shape(frequency_hz), dtype=bool)
        for steps in (np.abs(frequency_hz - place), frequency_hz + place):
            found |= np.abs(steps - rotation_hz * np.rint(steps / rotation_hz)) <= width
        return found


@dataclass(frozen=True, kw_only=True)
class Preferences:
    """What the person wants of the listener; a change holds from a sample on, like one of the setup.

    Attributes
    ----------
    false_alarms_per_hour
        False chatter alarms accepted in an hour of cutting; None: as the settings say.
    rejected
        Tones that are no chatter.
    heeded_hz
        Tones that count although they sound without a cut: what was learned there is not believed.
    """

    false_alarms_per_hour: float | None = None
    rejected: tuple[RejectedTone, ...] = ()
    heeded_hz: tuple[float, ...] = ()

    def __post_init__(self):
        wanted = self.false_alarms_per_hour
        if wanted is not None and not FEWEST_FALSE_ALARMS <= wanted <= MOST_FALSE_ALARMS:
            raise ValueError(
                f"{wanted!r} false alarms per hour of cutting is not between "
                f"{FEWEST_FALSE_ALARMS:g} and {MOST_FALSE_ALARMS:g}"
            )
        if len(self.rejected) > MOST_TONES or len(self.heeded_hz) > MOST_TONES:
            raise ValueError(f"more than {MOST_TONES} tones cannot be told apart")

    def with_tool(self, tool: str) -> "Preferences":
        """Return those that hold while a tool is in the spindle: without what was rejected with others."""
        holding = tuple(tone for tone in self.rejected if tone.only_with in ("", tool))
        return self if holding == self.rejected else replace(self, rejected=holding)

    def is_rejected(self, frequency_hz: np.ndarray, rotation_hz: float) -> np.ndarray:
        """Tell which lines a person has rejected, shape as `frequency_hz`."""
        found = np.zeros(np.shape(frequency_hz), dtype=bool)
        for tone in self.rejected:
            found |= tone.is_at(frequency_hz, rotation_hz)
        return found

    def is_overtone_of_rejected(self, frequency_hz: np.ndarray, rotation_hz: float) -> np.ndarray:
        """Tell which lines belong to twice the pitch of a rejected family, shape as `frequency_hz`."""
        found = np.zeros(np.shape(frequency_hz), dtype=bool)
        for tone in self.rejected:
            if tone.family:
                found |= tone.is_related(frequency_hz, rotation_hz, overtone=2)
        return found

    def is_heeded(self, frequency_hz: np.ndarray) -> np.ndarray:
        """Tell at which lines the background is not to be believed, shape as `frequency_hz`."""
        return near(frequency_hz, self.heeded_hz)


def near(frequency_hz: np.ndarray | float, places_hz: Iterable[float]) -> np.ndarray:
    """Tell which lines are one of the tones a person named, shape as `frequency_hz`."""
    found = np.zeros(np.shape(frequency_hz), dtype=bool)
    for place in places_hz:
        found |= np.abs(frequency_hz - place) <= width_hz(place)
    return found


def width_hz(place_hz: float) -> float:
    """Return how far from where a person named a tone it may be heard."""
    return max(LEAST_WIDTH_HZ, WIDTH * place_hz)


def preferences_as_data(preferences: Preferences) -> dict[str, Any]:
    """Return only what differs from no preference at all, as JSON knows it."""
    data = asdict(preferences)
    told = [{k: v for k, v in tone.items() if v not in (None, False, "")} for tone in data["rejected"]]
    data["rejected"] = told
    data["heeded_hz"] = list(data["heeded_hz"])
    return {name: value for name, value in data.items() if value not in (None, [])}


def preferences_from(data: Mapping[str, Any] | None) -> Preferences:
    """Undo `preferences_as_data`; names that are not known are left out.

    Raises
    ------
    ValueError
        A value that cannot be.
    """
    data = data or {}
    return Preferences(
        false_alarms_per_hour=data.get("false_alarms_per_hour"),
        rejected=tuple(
            RejectedTone(
                frequency_hz=tone.get("frequency_hz"),
                order=tone.get("order"),
                family=tone.get("family") is True,
                only_with=str(tone.get("only_with") or ""),
            )
            for tone in data.get("rejected", ())
        ),
        heeded_hz=tuple(float(hz) for hz in data.get("heeded_hz", ())),
    )
