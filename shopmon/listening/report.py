"""What was heard, as one plain dictionary: ``shopmon.inspection/1``.

Times are seconds from the first sample of the recording (or of the cut's audio). Keys:

``start``
    ``"cold"`` or ``"sidecar"``: whether the listener began with nothing learned.
``recording``
    ``sample_rate_hz``, ``duration_s``, ``channels``, ``unit``.
``setup``
    ``nominal_rpm`` and ``flutes`` as last set, null where nobody said.
``spindle``
    ``rpm`` (median true speed), ``track`` of ``[t_s, rpm, confidence]``, ``alternatives_rpm``.
``cuts``, ``cut_time_s``
    Each with ``start_s``, ``end_s``, ``engaged`` ``[[start, end], …]``, ``cut_time_s``.
``chatter``
    ``start_s`` (dated back), ``end_s``, ``alarm_s`` (when it became certain), ``frequency_hz`` (of the line
    with most energy), ``level_db``, ``severity``, ``kind``, ``confidence`` (a probability, as of the alarm).
``stray``
    Lines on neither the comb nor the known background: evidence, while chatter is the verdict.
``steady``
    The spindle comb over the quiet, steady parts of the cuts, per speed, longest first: ``rpm``,
    ``duration_s`` and ``lines_db``, the level of each multiple of the rotation, null where it mostly did not
    stand out.
``notices``
    ``code``, ``text``, ``hint``, ``start_s``.
``state``, ``unsure``
    The worst state reached, and whether it was doubted throughout.
``advice``
    What to try about the loudest chatter, best first: the fields of
    `shopmon.cutting.advising.one_line.Advice`.
``moment``
    Only where one was asked for: ``at_s``, ``state``, ``unsure``, ``rpm``, ``background_known``, ``lines``
    (each with ``frequency_hz``, ``order``, ``level_db``, ``over_floor_db``, ``over_background_db``, ``what``,
    ``counts``, ``why``), ``suspect_hz``, ``evidence`` with ``parts`` (``what``, ``adds``), ``log_odds``,
    ``total`` and ``alarm_at``.
``quality``
    ``clipped_fraction`` and ``gaps``.

Levels are dB re full scale; a full-scale sine reads 0 dB. With a calibration they are dB re one unit of
amplitude.
"""

import math
from array import array
from collections.abc import Callable
from functools import partial
from statistics import median

from shopmon.errors import SettingError
from shopmon.listening.counsel import CutFacts, counsel
from shopmon.listening.events import (
    ChatterEnded,
    ChatterSpan,
    ChatterStarted,
    CutEnded,
    CutSpan,
    CutStarted,
    Event,
    Frame,
    Notice,
    State,
)
from shopmon.listening.setup import Setup
from shopmon.listening.steady import SteadyLines, SteadyListening

SCHEMA = "shopmon.inspection/1"
TRACK_STEP_S = 0.2
LIKELY = 0.5
UNCALIBRATED = "dB re full scale (uncalibrated)"
SAME_TONE_HZ = 4.0
SHORTEST_TONE_S = 0.3
ORDER = list(State)


class Inspection:
    """Collects the events of one listener and tells them as ``shopmon.inspection/1``.

    Parameters
    ----------
    sample_rate_hz, channels
        Of the stream.
    setup
        As known at the start.
    start
        ``"cold"`` or ``"sidecar"``.
    first_sample
        Sample of the stream that counts as 0 s; what lies before is left out.
    full_scale, unit
        What full scale means in a physical unit, when somebody said.
    facts
        What is known of the cut beside the setup, for the advice.

    Raises
    ------
    SettingError
        Full scale is not a positive number.
    """

    def __init__(
        self,
        *,
        sample_rate_hz: float,
        channels: int,
        setup: Setup,
        start: str = "cold",
        first_sample: int = 0,
        full_scale: float | None = None,
        unit: str = "FS",
        facts: CutFacts | None = None,
    ):
        if full_scale is not None and not (math.isfinite(full_scale) and full_scale > 0):
            raise SettingError(f"A full scale of {full_scale!r} is not a positive number.")
        self._rate = sample_rate_hz
        self._channels = channels
        self._setup = setup
        self._facts = facts or CutFacts()
        self._start = start
        self._first = first_sample
        self._offset_db = 20 * math.log10(full_scale) if full_scale else 0.0
        self._unit = unit if full_scale else "FS"
        self._cutting_rpm, self._idle_rpm = array("d"), array("d")
        self._track: list[list[float]] = []
        self._track_step = -1
        self._cuts: dict[int, CutSpan] = {}
        self._chatter: dict[int, ChatterSpan] = {}
        self._tones: list[dict] = []
        self._notices: list[Notice] = []
        self._steady = SteadyListening(sample_rate_hz)
        self._worst = State.NO_INPUT
        self._sure = False

    @property
    def heard_rotation(self) -> bool:
        """Whether a spindle speed was heard at any time."""
        return bool(self._track)

    def set_setup(self, setup: Setup) -> None:
        """The setup has changed."""
        self._setup = setup

    def add(self, event: Event) -> None:
        """Take in one event, in order."""
        match event:
            case Frame():
                self._add_frame(event)
            case CutStarted() | CutEnded():
                self._cuts[event.cut.number] = event.cut
            case ChatterStarted() | ChatterEnded():
                self._chatter[event.chatter.alarm_sample] = event.chatter
            case Notice():
                self._notices.append(event)

    def add_notice(self, sample: int, code: str, text: str, hint: str) -> None:
        """Add something that another part than the listener has to say."""
        self._notices.append(Notice(sample=sample, code=code, text=text, hint=hint))

    def _add_frame(self, frame: Frame) -> None:
        self._steady.add(frame)
        if frame.state is self._worst:
            self._sure |= not frame.unsure
        elif ORDER.index(frame.state) > ORDER.index(self._worst):
            self._worst, self._sure = frame.state, not frame.unsure
        if frame.rpm is not None:
            heard = self._cutting_rpm if frame.engaged else self._idle_rpm
            if frame.engaged or frame.rpm_confidence > LIKELY:
                heard.append(frame.rpm)
        # steps of the stream, not of this report: a cut told live and told again from its recording, which
        # begins elsewhere, show the same moments, and the advice rests on them
        step = frame.sample // int(TRACK_STEP_S * self._rate)
        if frame.rpm is not None and step > self._track_step:
            self._track.append([self._s(frame.sample), round(frame.rpm, 1), frame.rpm_confidence])
            self._track_step = step
        for tone in frame.stray:
            self._add_tone(tone, frame.sample)

    def _add_tone(self, tone, sample: int) -> None:
        reach = int(0.6 * self._rate)
        for known in reversed(self._tones):
            near = abs(known["frequency_hz"] - tone.frequency_hz) < max(
                SAME_TONE_HZ, 0.004 * tone.frequency_hz
            )
            if near and sample - known["end"] < reach:
                known["end"] = sample
                if tone.level_db > known["level_db"] - 0.5:
                    known.update(frequency_hz=tone.frequency_hz, why=tone.why)
                    known["level_db"] = max(tone.level_db, known["level_db"])
                return
        self._tones.append(
            {
                "frequency_hz": tone.frequency_hz, "level_db": tone.level_db,
                "start": tone.since_sample, "end": sample, "why": tone.why,
            }
        )  # fmt: skip

    def _s(self, sample: int) -> float:
        return round((sample - self._first) / self._rate, 4)

    def _db(self, level_db: float) -> float:
        return round(level_db + self._offset_db, 2)

    def _true_rpm(self) -> float | None:
        """Median speed in the cuts; without a cut, of the moments when it was more likely right than not."""
        speeds = self._cutting_rpm or self._idle_rpm
        return round(median(speeds), 1) if speeds else None

    def result(self, *, end_sample: int, quality: dict, alternatives_rpm: list[float] | None = None) -> dict:
        """Tell everything; parameters as for `findings`."""
        found = self.findings(end_sample=end_sample, quality=quality, alternatives_rpm=alternatives_rpm)
        return {**found, "advice": self.counselling(found)()}

    def counselling(self, found: dict) -> Callable[[], list[dict]]:
        """Return what works out the advice on the findings, up to a second of computing; on any thread."""
        return partial(counsel, found["chatter"], found["spindle"]["track"], self._setup, self._facts)

    def findings(
        self, *, end_sample: int, quality: dict, alternatives_rpm: list[float] | None = None
    ) -> dict:
        """Tell everything but the advice, which is None.

        Parameters
        ----------
        end_sample
            One past the last sample of the stretch.
        quality
            ``clipped_fraction`` and ``gaps``, from `Listener.quality`.
        alternatives_rpm
            Other possible speeds.
        """
        cuts = [self._cut(cut) for cut in self._cuts.values()]
        chatter = [self._chatter_entry(span) for span in self._chatter.values()]
        return {
            "schema": SCHEMA,
            "start": self._start,
            "recording": {
                "sample_rate_hz": float(self._rate), "duration_s": self._s(end_sample),
                "channels": self._channels, "unit": self._unit,
            },
            "setup": {"nominal_rpm": self._setup.nominal_rpm, "flutes": self._setup.flutes},
            "spindle": {
                "rpm": self._true_rpm(), "track": self._track,
                "alternatives_rpm": alternatives_rpm or [],
            },
            "cuts": cuts,
            "cut_time_s": round(sum(cut["cut_time_s"] for cut in cuts), 4),
            "chatter": chatter,
            "stray": self._stray(),
            "steady": [self._comb_entry(each) for each in self._steady.found()],
            "notices": [
                {"code": n.code, "text": n.text, "hint": n.hint, "start_s": max(0.0, self._s(n.sample))}
                for n in self._notices
            ],
            "level_reference": UNCALIBRATED if self._unit == "FS" else f"dB re 1 {self._unit} amplitude",
            "state": str(self._worst),
            "unsure": not self._sure,
            "advice": None,
            "quality": {
                "clipped_fraction": round(quality["clipped_fraction"], 6), "gaps": int(quality["gaps"])
            },
        }  # fmt: skip

    def _cut(self, cut: CutSpan) -> dict:
        engaged = [[max(0.0, self._s(start)), self._s(end)] for start, end in cut.engaged]
        return {
            "start_s": engaged[0][0],
            "end_s": engaged[-1][1],
            "engaged": engaged,
            "cut_time_s": round(sum(end - start for start, end in engaged), 4),
        }

    def _chatter_entry(self, span: ChatterSpan) -> dict:
        return {
            "start_s": max(0.0, self._s(span.start_sample)),
            "end_s": self._s(span.end_sample),
            "alarm_s": self._s(span.alarm_sample),
            "frequency_hz": round(span.frequency_hz, 2),
            "level_db": self._db(span.level_db),
            "severity": span.severity,
            "kind": span.kind,
            "confidence": span.confidence,
        }

    def _comb_entry(self, heard: SteadyLines) -> dict:
        levels = [None if math.isnan(level) else self._db(level) for level in heard.lines_db.tolist()]
        return {"rpm": round(heard.rpm, 1), "duration_s": round(heard.duration_s, 2), "lines_db": levels}

    def _stray(self) -> list[dict]:
        lasting = [
            tone for tone in self._tones if tone["end"] - tone["start"] >= SHORTEST_TONE_S * self._rate
        ]
        return [
            {
                "frequency_hz": round(tone["frequency_hz"], 2),
                "level_db": self._db(tone["level_db"]),
                "start_s": max(0.0, self._s(tone["start"])),
                "end_s": self._s(tone["end"]),
                "why": tone["why"],
            }
            for tone in sorted(lasting, key=lambda tone: (tone["start"], -tone["level_db"]))
        ]
