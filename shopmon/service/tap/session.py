"""A tap test as it happens: hits are caught, judged and answered one by one, until there are enough."""

from dataclasses import dataclass, replace

import numpy as np

from shopmon.errors import RecordingError, SettingError, ShopmonError
from shopmon.service.tap.curves import forced_curves, heard_curves
from shopmon.service.tap.judging import (
    FAULTS,
    FEWEST_HITS,
    TapSettings,
    from_forced_hits,
    from_heard_hits,
    rings_otherwise,
    rung_at,
)
from shopmon.signals.block import Block
from shopmon.signals.tap.decay_poles import DecayPole
from shopmon.signals.tap.hits import Hit, judged
from shopmon.signals.tap.watch import Caught, TapWatch

FULL = 0.985  # of full scale: a converter this near its end is taken for overloaded
MOST_HITS, MOST_CAUGHT = 20, 60
WEAK_DB = -50.0
READY = "Hit now, lightly, once every two seconds."
SAID = {
    "double": "Double hit: the hammer touched twice. Hit once and draw back at once.",
    "overload": "Too hard: a sensor was overloaded. Hit more lightly, or lower the gain.",
    "no-hit": "That was no hit: a voice, a door, a machine? Hit again when it is quiet.",
    "no-ring": "Nothing rang on after it. Hit a little harder, or move the sensor nearer.",
    "other-ring": "That rang with other tones than the hits before: did something fall? Hit the tool again.",
    "cut-off": "Samples were lost in it. Hit again.",
}


@dataclass(frozen=True, kw_only=True)
class TapChannels:
    """Which channel is what, counted from 0, and what full scale means.

    Attributes
    ----------
    response
        Channel of the accelerometer or microphone.
    force
        Channel of the hammer, None without one.
    response_full_scale
        Acceleration at full scale, m/s²; 1 without a force, where levels mean nothing.
    force_full_scale
        Force at full scale, N.
    """

    response: int = 0
    force: int | None = None
    response_full_scale: float = 1.0
    force_full_scale: float = 1.0

    def __post_init__(self):
        if self.force is not None and self.force == self.response:
            raise SettingError(
                "Hammer and sensor cannot be one channel.", "Choose two, or no hammer with a force sensor."
            )
        for value in (self.response_full_scale, self.force_full_scale):
            if not (np.isfinite(value) and value > 0):
                raise SettingError("What full scale means must be a number above 0.", "Look at the sensor.")


class TapSession:
    """Takes blocks, catches hits and says what it thinks of each.

    Parameters
    ----------
    settings
        Band, length of a record, axis; limits are full scale.
    channels
        Which is which.
    wanted
        How many good hits.
    """

    def __init__(self, settings: TapSettings, channels: TapChannels, wanted: int = 5):
        if not 1 <= wanted <= MOST_HITS:
            raise SettingError(f"Take 1 to {MOST_HITS} hits.", "Five are good.")
        self.settings, self.channels, self.wanted = settings, channels, wanted
        self.said = "Quiet, please: the monitor learns the noise."
        self.result: dict | None = None
        self.curves: dict | None = None
        self.error: ShopmonError | None = None
        self._watch: TapWatch | None = None
        self._stream: tuple[str, float] | None = None
        self._next_sample = 0
        self._kept: list[np.ndarray] = []  # records of the good hits
        self._hits: list[dict] = []
        self._rung: list[list[DecayPole]] = []
        self._shown: list[Hit] = []

    @property
    def status(self) -> str:
        """``quiet``, ``waiting``, ``catching``, ``done`` or ``failed``."""
        if self.error is not None:
            return "failed"
        if self.result is not None:
            return "done"
        return self._watch.phase if self._watch else "quiet"

    @property
    def good(self) -> int:
        """How many good hits there are."""
        return len(self._kept)

    def as_dict(self) -> dict:
        """Return where it stands, for a page."""
        return {
            "status": self.status,
            "good": self.good,
            "wanted": self.wanted,
            "said": self.said,
            "axis": self.settings.axis,
            "with_force": self.channels.force is not None,
            "hits": list(self._hits),
            "error": {"text": self.error.text, "hint": self.error.hint} if self.error else None,
        }

    def take(self, block: Block) -> list[str]:
        """Take a block; return what there is to say, in order."""
        if self.status in ("done", "failed"):
            return []
        try:
            return self._taken(block)
        except ShopmonError as exc:
            self.error, self.said = exc, exc.text
            return [exc.text]

    def finish(self) -> None:
        """Judge the good hits there are, though more were wanted."""
        if self.status not in ("done", "failed"):
            try:
                self._conclude()
            except ShopmonError as exc:
                self.error, self.said = exc, exc.text

    def _taken(self, block: Block) -> list[str]:
        if self._stream is None:
            self._begin(block)
        elif self._stream != (block.stream_id, block.sample_rate_hz):
            raise RecordingError("The sensor was lost during the test.", "Plug it in and begin again.")
        elif block.first_sample != self._next_sample:
            self._watch = TapWatch(block.sample_rate_hz, self.settings.record_s)  # nothing is filled in
        self._next_sample = block.end_sample
        before, said = self._watch.phase, []
        for caught in self._watch.feed(self._columns(block)):
            said.append(self._judge(caught, block.sample_rate_hz))
            if self.good >= self.wanted or sum(hit["fault"] != "no-hit" for hit in self._hits) >= MOST_CAUGHT:
                self._conclude()
                return [*([READY] if before == "quiet" else []), *said, self.said]
        if before == "quiet" and self._watch.phase != "quiet":
            said.insert(0, READY)
        self.said = said[-1] if said else self.said
        return said

    def _begin(self, block: Block) -> None:
        last = max(self.channels.response, self.channels.force or 0)
        if last >= len(block.sound_columns):
            raise SettingError(
                f"There is no channel {last + 1}: the input has {len(block.sound_columns)}.",
                "Choose another, or set the number of channels in the settings.",
            )
        rate = block.sample_rate_hz
        if self.settings.lowest_hz >= 0.45 * rate:
            raise SettingError(
                f"This sensor ends at {0.45 * rate:.0f} Hz, below the band.", "Widen the band."
            )
        self._stream = (block.stream_id, rate)
        self._watch = TapWatch(rate, self.settings.record_s)

    def _columns(self, block: Block) -> np.ndarray:
        places = [self.channels.response]
        if self.channels.force is not None:
            places = [self.channels.force, self.channels.response]
        return block.samples()[:, places].astype(float)

    def _judge(self, caught: Caught, rate_hz: float) -> str:
        forced, record, rung = self.channels.force is not None, caught.record, []
        size = np.abs(record - np.median(record[: caught.start], axis=0))
        hit = judged(
            size[:, 0], caught.start, record.shape[0], rate_hz, length_s=self.settings.record_s,
            full_scale=FULL, with_force=forced,
        )  # fmt: skip
        if np.abs(record).max() >= FULL and hit.fault != "no-hit":
            hit = replace(hit, fault="overload")
        if not forced:
            hit, rung = rung_at(record[:, 0], hit, rate_hz, self.settings)
            if hit.fault is None and self.good >= FEWEST_HITS and rings_otherwise(rung, self._rung):
                hit = replace(hit, fault="other-ring")
        scale = self.channels.force_full_scale if forced else self.channels.response_full_scale
        self._hits.append({"at_s": caught.at_sample / rate_hz, "peak": hit.peak * scale, "fault": hit.fault})
        if hit.fault == "no-hit":
            self._watch.noise(record)
        if hit.fault is not None:
            return SAID[hit.fault]
        self._watch.good(hit.peak)
        offset = sum(kept.shape[0] for kept in self._kept)
        self._kept.append(record)
        self._rung.append(rung)
        self._shown.append(
            Hit(hit.begin + offset, hit.over + offset, hit.end + offset, hit.peak * scale, None)
        )
        weak = "; a little harder would be surer" if 20 * np.log10(max(hit.peak, 1e-9)) < WEAK_DB else ""
        return f"Good: {self.good} of {self.wanted}{weak}."

    def _conclude(self) -> None:
        if not self._kept:
            seen = sorted({hit["fault"] for hit in self._hits if hit["fault"]})
            reasons = "; ".join(FAULTS[fault][1] for fault in seen)
            raise RecordingError(
                f"There is no good hit to judge{f': {reasons}' if reasons else ''}.", "Begin again."
            )
        rows, rate = np.concatenate(self._kept), self._stream[1]
        response = rows[:, -1] * self.channels.response_full_scale
        if self.channels.force is None:
            result = from_heard_hits(response, rate, self.settings, self._shown, self._rung)
            self.curves = heard_curves(response, rate, self.settings, self._shown)
        else:
            force = rows[:, 0] * self.channels.force_full_scale
            result, measured = from_forced_hits(force, response, rate, self.settings, self._shown)
            self.curves = forced_curves(measured, self.settings)
        # those that turned out to be strangers only at the end
        last = iter(result["hits"])
        told = [{**hit, "fault": next(last)["fault"]} if hit["fault"] is None else hit for hit in self._hits]
        self.result = {**result, "hits": told}
        self.said = f"Done: {self.good} good {'hit' if self.good == 1 else 'hits'}."
