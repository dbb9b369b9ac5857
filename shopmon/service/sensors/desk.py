"""The sensor in use: what its full scale means, how it is mounted, and what it may be asked.

Everything is kept in the database with its date; the newest of a source counts, and only for the device,
range and channels it was made with. Without a calibration nothing is shown in a unit.
"""

import threading
from collections.abc import Callable, Mapping
from dataclasses import asdict
from datetime import datetime
from math import isfinite
from typing import Any

import numpy as np

from shopmon.capture.source import Source, SourceFormat
from shopmon.errors import SettingError
from shopmon.signals.block import Block, sound_columns
from shopmon.signals.sensors.calibration import (
    PLACES,
    Resting,
    from_level,
    from_sensitivity_db,
    level_in,
    resting,
    turn_over,
)
from shopmon.signals.sensors.fitness import MOUNTINGS, PARTS, Part, Sensor, answers, deaf_text

SCHEMA, SENSORS_SCHEMA = "shopmon.calibration/1", "shopmon.sensors/1"
REST_S, TONE_S, WAIT_S = 1.5, 3.0, 4.0
AT_REST_WITHIN_G = 0.15
UNITS = {"accelerometer": "g", "microphone": "Pa"}
CAUTIONS = (
    "Spindle stopped, machine switched off and kept from being switched on, before you touch the sensor.",
    "Take the sensor off its place to turn it over; keep its cable away from everything that can move.",
)


class SampleCatcher:
    """Catches a stretch of the stream for a page: the engine's thread gives, the page's thread waits."""

    def __init__(self):
        self._lock = threading.Lock()
        self._wanted_s = 0.0
        self._parts: list[np.ndarray] = []
        self._stream: tuple[str, int] | None = None
        self._done: threading.Event | None = None

    def take(self, block: Block) -> None:
        """Take a block, if anybody waits; a gap or another stream begins anew."""
        if self._done is None:
            return
        with self._lock:
            if self._done is None:
                return
            if self._stream != (block.stream_id, block.first_sample):
                self._parts = []
            self._parts.append(block.samples())
            self._stream = (block.stream_id, block.end_sample)
            if sum(map(len, self._parts)) >= self._wanted_s * block.sample_rate_hz:
                self._done.set()

    def catch(self, seconds: float) -> np.ndarray:
        """Return the next `seconds` of what is heard, shape ``(frames, channels)``.

        Raises
        ------
        SettingError
            Nothing comes, or somebody else is measuring.
        """
        with self._lock:
            if self._done is not None:
                raise SettingError("Another measurement is running.", "Wait until it is over.")
            done = self._done = threading.Event()
            self._wanted_s, self._parts, self._stream = seconds, [], None
        came = done.wait(seconds + WAIT_S)
        with self._lock:
            parts, self._parts, self._done = self._parts, [], None
        if not came:
            raise SettingError(
                "No whole stretch of samples came from the sensor.", "See its plug and its cable."
            )
        return np.concatenate(parts)


class SensorsDesk:
    """What the page *Sensors* asks and does.

    Parameters
    ----------
    archive
        Keeps values with date and history.
    source
        The running source.
    meter
        Tells the newest level in dB re full scale and the clipped share lately.
    """

    def __init__(self, archive, source: Source, meter: Callable[[], tuple[float | None, float]]):
        self._archive, self._source, self._meter = archive, source, meter
        self._catcher = SampleCatcher()
        self._places: dict[str, Resting] = {}
        self._places_of: str | None = None
        self._calibration: dict | None = archive.value(self._key("calibration"))
        self._made_t: float | None = None
        self._described: dict = archive.value(self._key("sensor")) or {}
        self.take = self._catcher.take

    def _key(self, what: str) -> str:
        return f"{what} {self._source.source_id}"

    # what is known

    def as_data(self) -> dict[str, Any]:
        """Return everything that is known, as ``shopmon.sensors/1``."""
        return {"schema": SENSORS_SCHEMA, **self.now()}

    def now(self) -> dict[str, Any]:
        """Return everything the page shows."""
        form = self._source.format
        valid = self._valid(form)
        return {
            "source": self._source.source_id,
            "device": form.name if form else None,
            "sample_rate_hz": form.sample_rate_hz if form else None,
            "kind": self._kind(form),
            "channels": [asdict(channel) for channel in self._heard(form)],
            "stated_g": self._stated_g(),
            "calibration": self._calibration if valid else None,
            "doubt": self._doubt(form),
            "level": self.level_text(),
            "part": self._part_name(),
            "temperature_c": getattr(self._source, "temperature_c", None),
            "mounting": self._described.get("mounting", "not said"),
            "resonance_hz": self._described.get("resonance_hz"),
            "fitness": self.fitness(),
            "deaf": self.deaf(),
            "places": {name: name in self._places for name in PLACES},
            "history": self.history(),
        }

    def calibration(self) -> dict[str, Any] | None:
        """Return the calibration that holds for what is being delivered now, None where there is none."""
        return self._calibration if self._valid(self._source.format) else None

    def history(self) -> list[dict[str, Any]]:
        """Return every calibration of this source, newest first, each with its time ``t``."""
        rows = self._archive.value_history(self._key("calibration"))
        return [{**row["value"], "t": row.get("t")} for row in rows][::-1]

    def level_text(self) -> str | None:
        """The level now in the unit of the first channel, with the date; None where it is not calibrated."""
        level_db, _ = self._meter()
        calibration = self.calibration()
        channels = calibration["channels"] if calibration else []
        first = next((channel for channel in channels if channel["channel"] == 1), None)
        if first is None or level_db is None:
            return None
        value = level_in(first["unit"], first["per_full_scale"], level_db)
        text = f"{value:.0f} dB re 20 µPa" if first["unit"] == "Pa" else f"{value:.2g} {first['unit']} r.m.s."
        return f"{text}, calibrated {self._made_on()}"

    def _made_on(self) -> str:
        if self._made_t is None:
            rows = self._archive.value_history(self._key("calibration"))
            if not rows or rows[-1]["value"] != self._calibration:
                return "just now"
            self._made_t = rows[-1].get("t")
        return datetime.fromtimestamp(self._made_t).date().isoformat() if self._made_t else "(clock not set)"

    def fitness(self) -> list[dict[str, str]]:
        """Return for each question how well the sensor may answer it; empty while it is away."""
        sensor = self._sensor()
        return [asdict(answer) for answer in answers(sensor)] if sensor else []

    def deaf(self) -> str | None:
        """Return the sentence on chatter that this sensor cannot see; None where it sees what is usual."""
        sensor = self._sensor()
        return deaf_text(sensor) if sensor and self._part_name() else None

    def notices(self) -> list[dict[str, str]]:
        """Return what must be known all the time of this sensor, as the state's notices are."""
        deaf = self.deaf()
        if deaf is None:
            return []
        hint = "The page Sensors says what it may be asked."
        return [{"code": "sensor-unfit", "text": deaf, "hint": hint}]

    def _sensor(self) -> Sensor | None:
        form = self._source.format
        if form is None:
            return None
        kind = self._kind(form)
        named = self._part_name()
        part = next((part for part in PARTS if part.label == named), None)
        part = part or Part(label=f"other {kind}", kind=kind)
        return Sensor(
            part=part,
            sample_rate_hz=form.sample_rate_hz,
            mounting=self._described.get("mounting", "not said"),
            resonance_hz=self._described.get("resonance_hz"),
            range_g=self._range_g(),
            clipped_share=self._meter()[1],
        )

    def _part_name(self) -> str | None:
        """Which part it is: as the person says, else as the sensor says; None where nobody says."""
        if said := self._described.get("part"):
            return said
        stated = (getattr(self._source, "stated_part", None) or "").casefold()
        return next((part.label for part in PARTS if part.label.casefold() == stated), None)

    def _heard(self, form: SourceFormat | None):
        return [form.channels[column] for column in sound_columns(form.channels)] if form else []

    def _kind(self, form: SourceFormat | None) -> str:
        heard = self._heard(form)
        return heard[0].kind if heard else "microphone"

    def _stated_g(self) -> list[float] | None:
        stated = getattr(self._source, "full_scales_g", None)
        return [round(value, 6) for value in stated] if stated else None

    def _range_g(self) -> float | None:
        """Full scale of the first channel in g: as calibrated, else as the sensor says."""
        channels = (self.calibration() or {"channels": []})["channels"]
        known = [entry["per_full_scale"] for entry in channels if entry["unit"] == "g"]
        return known[0] if known else (self._stated_g() or [None])[0]

    def _made_with(self, form: SourceFormat) -> dict[str, Any]:
        return {
            "device": form.name,
            "code_format": form.code_format,
            "channel_count": len(self._heard(form)),
            "stated_g": self._stated_g(),
        }

    def _valid(self, form: SourceFormat | None) -> bool:
        if form is None or self._calibration is None:
            return False
        made = self._made_with(form)
        return all(self._calibration.get(name) == value for name, value in made.items())

    def _doubt(self, form: SourceFormat | None) -> str | None:
        if form is None or self._calibration is None or self._valid(form):
            return None
        return "The last calibration does not count: the device, its range or its channels are others now."

    # what a person does

    def describe(self, values: Mapping[str, Any]) -> None:
        """Keep which part it is and how it is mounted.

        Parameters
        ----------
        values
            ``part``, ``mounting``, ``resonance_hz`` (None where it was not measured).

        Raises
        ------
        SettingError
            A value that cannot be.
        """
        part, mounting = values.get("part"), values.get("mounting", "not said")
        resonance = values.get("resonance_hz")
        if mounting is None:
            mounting = "not said"
        if part is not None and part not in [known.label for known in PARTS]:
            raise SettingError(
                f"The part {_short(part)} is not known.",
                f"Use one of: {', '.join(known.label for known in PARTS)}.",
            )
        if mounting not in list(MOUNTINGS):
            raise SettingError(
                f"The mounting {_short(mounting)} is not known.", f"Use one of: {', '.join(MOUNTINGS)}."
            )
        if resonance is not None:
            resonance = _number(resonance, "The resonance", 50.0, 200_000.0)
        self._described = {"part": part, "mounting": mounting, "resonance_hz": resonance}
        self._archive.set_value(self._key("sensor"), self._described, "touched")

    def measure_place(self, place: Any) -> dict[str, Any]:
        """Measure the sensor at rest in one place of the turn-over; return which are done.

        Raises
        ------
        SettingError
            No such place, not three axes, or no samples.
        """
        if place not in PLACES:
            raise SettingError(f"There is no place {_short(place)}.", f"Use one of: {', '.join(PLACES)}.")
        form = self._form()
        if len(self._heard(form)) != 3 or self._kind(form) != "accelerometer":
            raise SettingError(
                "Turning over is for an accelerometer with three axes.", "Enter its sensitivity instead."
            )
        if self._places_of != form.name:
            self._places, self._places_of = {}, form.name
        samples = self._catcher.catch(REST_S)
        self._places[place] = resting(samples, form.sample_rate_hz)
        return {"places": {name: name in self._places for name in PLACES}, "remark": self._at_rest(place)}

    def _at_rest(self, place: str) -> str | None:
        """Say at once when gravity does not read 1 g by the sensor's own word."""
        stated = self._stated_g()
        if stated is None:
            return None
        reads_g = float(np.linalg.norm(np.array(self._places[place].mean) * stated))
        if abs(reads_g - 1.0) <= AT_REST_WITHIN_G:
            return None
        return f"By its own scale gravity reads {reads_g:.2f} g here; the six places together tell more."

    def finish_turn_over(self) -> dict[str, Any]:
        """Calibrate by the places measured and keep it; return the calibration.

        Raises
        ------
        SettingError
            A place is missing, it moved, or the axes do not answer as they should.
        """
        form, stated = self._form(), self._stated_g()
        try:
            found = turn_over(self._places, tuple(stated) if stated else None)
        except ValueError as exc:
            again = "moved" in str(exc) or "missing" in str(exc)
            hint = "Measure that place again." if again else "Mend that, then measure all six places again."
            raise SettingError(_sentence(exc), hint) from None
        channels = [
            {
                "channel": axis + 1,
                "unit": "g",
                "per_full_scale": found.g_per_full_scale[axis],
                "offset": found.offset_g[axis],
                "residual": found.residual_g[axis],
            }
            for axis in range(3)
        ]
        self._places = {}
        return self._keep(form, "turned over", channels, list(found.remarks))

    def calibrate_level(self, channel: Any, level_db: Any) -> dict[str, Any]:
        """Calibrate a microphone by a calibrator's tone that sounds now; return the calibration.

        Raises
        ------
        SettingError
            Not a microphone, or no clean, steady tone.
        """
        form = self._form()
        column = self._column(form, channel, "microphone")
        level = _number(level_db, "The level", 60.0, 130.0)
        samples = self._catcher.catch(TONE_S)
        try:
            pascals = from_level(samples[:, column], form.sample_rate_hz, level)
        except ValueError as exc:
            raise SettingError(_sentence(exc), "Then touch the button again.") from None
        return self._keep_one(form, column, f"{level:g} dB calibrator", "Pa", pascals)

    def enter(self, channel: Any, value: Any, what: Any) -> dict[str, Any]:
        """Keep a meaning of full scale that the person enters; return the calibration.

        Parameters
        ----------
        channel
            Number from 1.
        value, what
            ``"g"`` or ``"Pa"`` at full scale, or ``"dB"``: level of 94 dB re 20 µPa in dB re full scale, as
            the sheets of digital microphones tell it.

        Raises
        ------
        SettingError
            A number that cannot be, or a unit of another kind of sensor.
        """
        form = self._form()
        kind = "accelerometer" if what == "g" else "microphone"
        if what not in ("g", "Pa", "dB"):
            raise SettingError(f"The unit {_short(what)} is not known.", "Use g, Pa or dB.")
        column = self._column(form, channel, kind)
        if what == "dB":
            meaning = from_sensitivity_db(_number(value, "The sensitivity", -119.0, -1.0))
        else:
            meaning = _number(value, "Full scale", 1e-4, 1e6)
        return self._keep_one(form, column, "entered", UNITS[kind], meaning)

    def _form(self) -> SourceFormat:
        form = self._source.format
        if form is None:
            raise SettingError("No sensor delivers anything now.", "See its plug and its cable.")
        return form

    def _column(self, form: SourceFormat, channel: Any, kind: str) -> int:
        heard = self._heard(form)
        number = int(_number(channel, "The channel", 1, max(1, len(heard)), whole=True))
        if heard[number - 1].kind != kind:
            raise SettingError(
                f"Channel {number} is no {kind}.", "Say in the settings what kind of sensor it is."
            )
        return number - 1

    def _keep_one(self, form, column: int, method: str, unit: str, meaning: float) -> dict[str, Any]:
        before = self._calibration["channels"] if self._valid(form) else []
        entry = {
            "channel": column + 1,
            "unit": unit,
            "per_full_scale": meaning,
            "offset": None,
            "residual": None,
        }
        others = [channel for channel in before if channel["channel"] != column + 1]
        channels = sorted([*others, entry], key=lambda channel: channel["channel"])
        return self._keep(form, method, channels, [])

    def _keep(self, form, method: str, channels: list[dict], remarks: list[str]) -> dict[str, Any]:
        kept = {
            "schema": SCHEMA,
            "method": method,
            "channels": channels,
            "remarks": remarks,
            **self._made_with(form),
        }
        self._calibration = kept
        self._archive.set_value(self._key("calibration"), kept, "touched")
        self._made_t = None
        return kept


def _number(value: Any, name: str, least: float, most: float, whole: bool = False) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError):
        number = float("nan")
    fits = isfinite(number) and least <= number <= most and (number.is_integer() or not whole)
    if isinstance(value, bool) or not fits:
        kind = "whole number" if whole else "number"
        raise SettingError(f"{name} cannot be {_short(value)}.", f"Give a {kind} from {least:g} to {most:g}.")
    return number


def _short(value: Any) -> str:
    return repr(value)[:40]


def _sentence(exc: ValueError) -> str:
    text = str(exc)
    return f"{text[0].upper()}{text[1:]}."
