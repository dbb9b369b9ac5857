"""What the person wants of the listener, kept in the database with date and history and used at once."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from shopmon.errors import SettingError
from shopmon.listening.background import tone_id
from shopmon.listening.preferences import (
    Preferences,
    RejectedTone,
    near,
    preferences_as_data,
    preferences_from,
)
from shopmon.listening.setup import ListenerSettings
from shopmon.records.archive import Archive

KEY = "preferences"
MOST_WORDS = 300


class Wishes:
    """The preferences in force, and how they are changed.

    Parameters
    ----------
    archive
        Where every change is kept; the newest counts.
    use
        Called with what changed, so that the listener follows from the next block on.
    """

    def __init__(self, archive: Archive, use: Callable[[], None]):
        self._archive = archive
        self._use = use
        self.now: Preferences = preferences_from(archive.value(KEY))

    @property
    def false_alarms_per_hour(self) -> float:
        """False alarms accepted in an hour of cutting: as chosen, else as the listener begins with."""
        chosen = self.now.false_alarms_per_hour
        return ListenerSettings().false_alarms_per_hour if chosen is None else chosen

    def as_data(self) -> dict[str, Any]:
        """Return them as they are kept beside a recording; empty where nothing was ever wished."""
        return preferences_as_data(self.now)

    def accept_false_alarms(self, per_hour: Any) -> None:
        """Set how many false alarms an hour of cutting may have.

        Raises
        ------
        SettingError
            Not a number, or beyond what can be.
        """
        self._use_from_now(self.accepting(per_hour))

    def reject(
        self, *, frequency_hz: Any = None, order: Any = None, family: bool = False, only_with: Any = ""
    ) -> dict[str, Any]:
        """Take a tone for no chatter from now on; return the entry of the list.

        Parameters
        ----------
        frequency_hz, order
            One of them.
        family
            Whether every tone in steps of the rotation from it is meant, too.
        only_with
            The tool it shall be rejected with (`shopmon.service.context.tool_words`); empty with any.

        Raises
        ------
        SettingError
            Neither or both are given, or one cannot be.
        """
        wanted = self.rejecting(frequency_hz=frequency_hz, order=order, family=family, only_with=only_with)
        self._use_from_now(wanted)
        tone = self.now.rejected[-1]
        name = "frequency_hz" if order is None else "order"
        return {
            "id": _id(tone),
            name: getattr(tone, name),
            "family": tone.family,
            "only_with": tone.only_with,
        }

    def rejecting(
        self, *, frequency_hz: Any = None, order: Any = None, family: bool = False, only_with: Any = ""
    ) -> Preferences:
        """Return what the preferences would be with a tone rejected (see `reject`); nothing changes.

        Raises
        ------
        SettingError
            Neither or both are given, or one cannot be.
        """
        if (frequency_hz is None) == (order is None):
            raise SettingError("A tone has either a frequency or an order.", "Give frequency_hz or order.")
        name = "frequency_hz" if order is None else "order"
        value = round(_number(frequency_hz if order is None else order, name), 4)
        if not isinstance(only_with, str) or len(only_with) > MOST_WORDS:
            raise SettingError("only_with names no tool.", f"Give a text of at most {MOST_WORDS} letters.")
        tone = self._checked(lambda: RejectedTone(**{name: value}, family=family, only_with=only_with))
        others = tuple(known for known in self.now.rejected if not _replaces(tone, known))
        heeded = self.now.heeded_hz if order is not None else self._heeded_apart_from(tone.frequency_hz)
        return self._with(rejected=(*others, tone), heeded_hz=heeded)

    def heeding(self, *, frequency_hz: Any) -> Preferences:
        """Return what the preferences would be if a tone counted although it was learned; nothing changes."""
        heard_hz = round(_number(frequency_hz, "The frequency"), 4)
        rejected = tuple(
            tone
            for tone in self.now.rejected
            if tone.frequency_hz is None or not near(heard_hz, (tone.frequency_hz,))
        )
        return self._with(rejected=rejected, heeded_hz=(*self._heeded_apart_from(heard_hz), heard_hz))

    def accepting(self, per_hour: Any) -> Preferences:
        """Return what the preferences would be with so many false alarms an hour; nothing changes."""
        return self._with(false_alarms_per_hour=_number(per_hour, "The number of false alarms per hour"))

    def heed(self, *, frequency_hz: Any) -> None:
        """Let a tone count from now on, although it was learned or rejected as background."""
        self._use_from_now(self.heeding(frequency_hz=frequency_hz))

    def remove(self, entry_id: str) -> None:
        """Take a tone off the list: one that was rejected counts again, one that was learned is heeded.

        Raises
        ------
        SettingError
            The id names no entry.
        """
        kept = tuple(tone for tone in self.now.rejected if _id(tone) != entry_id)
        if len(kept) < len(self.now.rejected):
            self._change(rejected=kept)
            return
        frequency_hz = _frequency_of(entry_id)
        heeded = tuple(hz for hz in self.now.heeded_hz if hz != frequency_hz)
        self._change(heeded_hz=(*heeded, frequency_hz))

    def believe(self, entry_id: str) -> None:
        """Let a tone that was heeded be background again."""
        self._change(heeded_hz=self._heeded_apart_from(_frequency_of(entry_id)))

    def _heeded_apart_from(self, frequency_hz: float) -> tuple[float, ...]:
        return tuple(hz for hz in self.now.heeded_hz if not near(frequency_hz, (hz,)))

    def _change(self, **values: Any) -> None:
        self._use_from_now(self._with(**values))

    def _with(self, **values: Any) -> Preferences:
        return self._checked(lambda: replace(self.now, **values))

    def _use_from_now(self, wanted: Preferences) -> None:
        self.now = wanted
        self._archive.set_value(KEY, self.as_data(), "touched")
        self._use()

    def _checked(self, make: Callable[[], Any]) -> Any:
        try:
            return make()
        except ValueError as exc:
            raise SettingError(f"That cannot be: {exc}.", "Check the number.") from exc


def _id(tone: RejectedTone) -> str:
    return tone_id(tone.frequency_hz, tone.order, tone.family, tone.only_with)


def _replaces(tone: RejectedTone, known: RejectedTone) -> bool:
    """Whether a tone stands for one that is known: the same, unless each holds with a tool of its own."""
    apart = tone.only_with and known.only_with and tone.only_with != known.only_with
    return _tone(tone) == _tone(known) and not apart


def _tone(tone: RejectedTone) -> str:
    return tone_id(tone.frequency_hz, tone.order)


def _frequency_of(entry_id: str) -> float:
    number, dash, kind = str(entry_id).rpartition("-")
    if kind != "hz" or not dash:
        raise SettingError(f"No entry of the background is called {entry_id!r}.", "Open the list again.")
    return _number(number, "The frequency")


def _number(value: Any, what: str) -> float:
    try:
        number = math.nan if isinstance(value, bool) else float(value)
    except (TypeError, ValueError):
        number = math.nan
    if not math.isfinite(number):
        raise SettingError(f"{what} cannot be {value!r}.", "Enter a number.")
    return number
