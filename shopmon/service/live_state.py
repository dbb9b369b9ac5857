"""The present moment, as the pages show it: built from what the engine says, read by any thread."""

import base64
import math
from collections import OrderedDict
from dataclasses import dataclass
from typing import Any

import numpy as np

from shopmon.capture.source import SourceFormat, SourceNotice
from shopmon.listening.events import Frame, State
from shopmon.signals.block import SCALES, Block

NOTICE_SHOWN_S = 20.0
CLIP_MEMORY_S = 2.0
LEVEL_S = 1.0
SPECTRUM_BINS = 1024
SPECTRUM_FLOOR_DB = -120.0
SPECTRUM_STEP_DB = 0.5
SOURCE_TROUBLE = {
    "rate-unfit",
    "range-absurd",
    "rate-wrong",
    "device-lost",
    "device-stalled",
    "input-silent",
    "input-overflow",
    "consumer-slow",
    "input-late",
}
OTHER_TROUBLE = {"other-lost", "other-stalled", "other-input-silent"}
LASTING = OTHER_TROUBLE | SOURCE_TROUBLE - {"input-overflow", "consumer-slow", "input-late"}
OTHER_WELL_AGAIN = {"other-opened", "other-returned", "other-input-back"}
SOURCE_WELL_AGAIN = {"device-opened", "device-returned", "input-back"}


@dataclass
class InputMeter:
    """Running figures of the input's quality."""

    form: SourceFormat | None = None
    present: bool = False
    text: str = "Waiting for the first sound."
    overflows: int = 0
    gaps: int = 0
    lost_samples: int = 0
    clipped_share: float = 0.0
    mean_square: float | None = None

    def take(self, block: Block) -> None:
        """Count what the block reports; the clipped share fades over a couple of seconds.

        Parameters
        ----------
        block
            Of the first source alone.
        """
        quality = block.quality
        self.overflows += quality.overflow
        self.gaps += bool(quality.gap)
        self.lost_samples += quality.gap
        weight = min(1.0, block.frames / (CLIP_MEMORY_S * block.sample_rate_hz))
        share = quality.clipped / max(1, block.codes.size)
        self.clipped_share += weight * (share - self.clipped_share)
        if block.frames and (columns := block.sound_columns):
            square = float(np.var(block.codes[:, columns[0]] * SCALES[block.code_format]))
            before = square if self.mean_square is None else self.mean_square
            self.mean_square = before + min(1.0, block.frames / (LEVEL_S * block.sample_rate_hz)) * (
                square - before
            )

    @property
    def rms_db(self) -> float | None:
        """The r.m.s. level of the first channel, dB re full scale; a sine at full scale has -3."""
        if not self.present or self.mean_square is None:
            return None
        return 10 * math.log10(max(self.mean_square, 1e-20))

    def as_dict(self, frame: Frame | None) -> dict[str, Any]:
        """Return the ``input`` part of the state."""
        form = self.form
        return {
            "source": form.source_id if form else None,
            "device": form.name if form else None,
            "sample_rate_hz": form.sample_rate_hz if form else None,
            "channels": len(form.channels) if form else 0,
            "level_db": round(frame.level_db, 1) if frame and self.present else None,
            "peak_db": round(frame.peak_db, 1) if frame and self.present else None,
            "clipped_fraction": round(self.clipped_share, 5),
            "overflows": self.overflows,
            "gaps": self.gaps,
            "lost_s": round(self.lost_samples / form.sample_rate_hz, 3) if form else 0.0,
            "present": self.present,
            "text": self.text,
        }


class NoticeBoard:
    """Notices that are still worth showing, newest last, one per code.

    A notice of the sound fades after a while of sound; one of the device stays until the device recovers.
    """

    def __init__(self):
        self._shown: OrderedDict[str, tuple[dict, float | None]] = OrderedDict()

    def post(self, code: str, text: str, hint: str, until_s: float | None) -> bool:
        """Show a notice; return True when it was not on the board already."""
        fresh = code not in self._shown
        self._shown[code] = ({"code": code, "text": text, "hint": hint}, until_s)
        self._shown.move_to_end(code)
        return fresh

    def take_down(self, codes: set[str]) -> None:
        """Remove these notices."""
        for code in codes:
            self._shown.pop(code, None)

    def expire(self, now_s: float) -> None:
        """Remove what has been shown long enough."""
        self.take_down(
            {code for code, (_, until) in self._shown.items() if until is not None and now_s >= until}
        )

    def as_list(self) -> list[dict]:
        """Return the notices on the board."""
        return [notice for notice, _ in self._shown.values()]


class LiveState:
    """What is true right now. Written by the engine's thread only; readers get finished dictionaries."""

    def __init__(self):
        self.frame: Frame | None = None
        self.rate_hz = 1.0
        self.meter = InputMeter()
        self.board = NoticeBoard()
        self.cut_id: str | None = None
        self.chatter_id: str | None = None

    def stream_started(self, form: SourceFormat) -> None:
        """Note the format; the sound is there."""
        self.meter.form = form
        self.meter.present = True
        self.meter.text = f"Listening to {form.name}."
        self.rate_hz = form.sample_rate_hz
        self.board.take_down(SOURCE_TROUBLE)

    def source_notice(self, notice: SourceNotice) -> bool:
        """Show or take down a notice of the device; return True when it is news."""
        if notice.code in SOURCE_WELL_AGAIN:
            self.board.take_down(SOURCE_TROUBLE)
            return True
        if notice.code in OTHER_WELL_AGAIN:
            self.board.take_down(OTHER_TROUBLE)
            return True
        if notice.code in ("device-lost", "device-stalled", "recording-ended"):
            self.meter.present = False
            self.meter.text = notice.text
            self.frame = None  # a cut that is open stays so: after a stall it may go on
        until = None if notice.code in LASTING else self.now_s + NOTICE_SHOWN_S
        return self.board.post(notice.code, notice.text, notice.hint, until)

    @property
    def now_s(self) -> float:
        """Seconds of sound heard in this stream."""
        return self.frame.sample / self.rate_hz if self.frame else 0.0

    def take_frame(self, frame: Frame) -> bool:
        """Take the newest view; return True when the state itself changed."""
        before = self.frame
        self.frame = frame
        self.board.expire(self.now_s)
        return before is None or (before.state, before.unsure) != (frame.state, frame.unsure)

    def as_dict(self) -> dict[str, Any]:
        """Return the part of ``GET /api/state`` that follows from the sound."""
        frame = self.frame
        state = frame.state if frame and self.meter.present else State.NO_INPUT
        return {
            "state": str(state),
            "unsure": bool(frame and frame.unsure),
            "rpm": _rounded(frame.rpm if frame else None, 1),
            "rpm_confidence": round(frame.rpm_confidence, 3) if frame else 0.0,
            "cut_id": self.cut_id,
            "cut_time_s": round(frame.cut.cut_samples / self.rate_hz, 2) if frame and frame.cut else None,
            "chatter": self._chatter(frame),
            "stray": [
                {"frequency_hz": round(t.frequency_hz, 1), "level_db": round(t.level_db, 1), "why": t.why}
                for t in (frame.stray if frame else ())
            ],
            "input": self.meter.as_dict(frame),
            "notices": self.board.as_list(),
        }

    def _chatter(self, frame: Frame | None) -> dict[str, Any] | None:
        if frame is None or frame.chatter is None:
            return None
        span = frame.chatter
        return {
            "event_id": self.chatter_id,
            "frequency_hz": round(span.frequency_hz, 1),
            "level_db": round(span.level_db, 1),
            "severity": span.severity,
            "since_s": round((frame.sample - span.start_sample) / self.rate_hz, 2),
        }


def spectrum_message(frame: Frame, rate_hz: float, setup: dict[str, Any]) -> dict[str, Any]:
    """Return the moving spectrum: one byte a bin, the loudest of neighbours where there are too many."""
    levels = frame.spectrum_db
    group = max(1, -(-levels.size // SPECTRUM_BINS))
    padded = np.pad(levels, (0, -levels.size % group), constant_values=SPECTRUM_FLOOR_DB)
    coarse = padded.reshape(-1, group).max(axis=1)
    codes = np.clip((coarse - SPECTRUM_FLOOR_DB) / SPECTRUM_STEP_DB, 0, 255).astype(np.uint8)
    return {
        "t_s": round(frame.sample / rate_hz, 3),
        "step_hz": frame.spectrum_step_hz * group,
        "bins": base64.b64encode(codes.tobytes()).decode("ascii"),
        "floor_db": SPECTRUM_FLOOR_DB,
        "per_step_db": SPECTRUM_STEP_DB,
        "rpm": _rounded(frame.rpm, 1),
        "flutes": setup.get("flutes"),
        "nominal_rpm": setup.get("nominal_rpm"),
        "level_db": round(frame.level_db, 1),
        "peak_db": round(frame.peak_db, 1),
        "stray": [
            {"frequency_hz": round(t.frequency_hz, 1), "level_db": round(t.level_db, 1)} for t in frame.stray
        ],
        "state": str(frame.state),
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits)
