"""What the listener says: states and events, all frozen, all times in samples of the stream."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np

Severity = Literal["slight", "clear", "heavy"]
ChatterKind = Literal["quasi-periodic", "period-doubling", "unclassified"]


class State(StrEnum):
    """The one vocabulary for the state, from harmless to worst."""

    NO_INPUT = "no-input"
    STOPPED = "stopped"
    SPINNING = "spinning"
    AIR_CUT = "air-cut"
    CUTTING = "cutting"
    CHATTER = "chatter"


@dataclass(frozen=True, kw_only=True)
class StrayTone:
    """A line that belongs neither to the spindle comb nor to the known background.

    ``level_db`` is re full scale; ``above_comb_db`` relative to the strongest comb line; ``why`` is one short
    sentence for the person.
    """

    frequency_hz: float
    level_db: float
    above_comb_db: float
    since_sample: int
    why: str


@dataclass(frozen=True, kw_only=True)
class CutSpan:
    """A cut, open or ended: engagements of one context with gaps under ``cut_gap_s``.

    ``number`` counts the cuts of this listener from 0; ``engaged`` holds ``(start, end)`` samples, end
    exclusive, the last one still growing while the tooth is in metal.
    """

    number: int
    start_sample: int
    end_sample: int
    engaged: tuple[tuple[int, int], ...]

    @property
    def cut_samples(self) -> int:
        """Samples with a tooth in metal: the sum over engagements, never end minus start."""
        return sum(end - start for start, end in self.engaged)


@dataclass(frozen=True, kw_only=True)
class ChatterSpan:
    """One chatter event, open or ended.

    ``alarm_sample`` is one past the last sample that was needed when the alarm was first raised;
    ``start_sample`` dates the onset as well as can be done after the fact. ``frequency_hz`` is the line that
    had most energy so far; ``confidence`` a probability, as it was when the alarm was raised.
    """

    start_sample: int
    end_sample: int
    alarm_sample: int
    frequency_hz: float
    level_db: float
    severity: Severity
    kind: ChatterKind
    confidence: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Frame:
    """The listener's view at one moment, some ten to twenty a second.

    Attributes
    ----------
    sample
        One past the last sample that was used.
    state, unsure
        The state and whether the listener doubts it.
    rpm, rpm_confidence
        True spindle speed, None when no rotation is heard; probability that it is right.
    level_db, peak_db
        Root mean square and peak of the newest samples, dB re full scale.
    comb_db, stray_db
        Level of the spindle comb and of everything stray, dB re full scale; None when not known.
    engaged
        A tooth is in metal.
    stray
        The stray tones of this moment, strongest first.
    cut, chatter
        The open cut and the open chatter event, if any.
    spectrum_db
        Power spectrum of the newest window, float32 of shape (bins,), dB re full scale (a full-scale sine
        reads 0 dB r.m.s.-referenced to itself), from 0 Hz in steps of ``spectrum_step_hz``.
    lines_db
        In quiet metal, once the window holds nothing else: level of each multiple of the rotation, shape
        ``(orders,)``, NaN where it does not stand out. None at all other times.
    """

    sample: int
    state: State
    unsure: bool
    rpm: float | None
    rpm_confidence: float
    level_db: float
    peak_db: float
    comb_db: float | None
    stray_db: float | None
    engaged: bool
    stray: tuple[StrayTone, ...]
    cut: CutSpan | None
    chatter: ChatterSpan | None
    spectrum_db: np.ndarray
    spectrum_step_hz: float
    lines_db: np.ndarray | None = None


@dataclass(frozen=True, kw_only=True)
class CutStarted:
    """A tooth met metal; ``cut.start_sample`` is back-dated before ``sample``."""

    sample: int
    cut: CutSpan


@dataclass(frozen=True, kw_only=True)
class CutEnded:
    """The cut is over: no engagement for ``cut_gap_s``, a change of context, or the end of the stream."""

    sample: int
    cut: CutSpan


@dataclass(frozen=True, kw_only=True)
class ChatterStarted:
    """The alarm is raised now, at ``sample`` (= ``chatter.alarm_sample``)."""

    sample: int
    chatter: ChatterSpan


@dataclass(frozen=True, kw_only=True)
class ChatterEnded:
    """The cut has gone quiet again, or ended."""

    sample: int
    chatter: ChatterSpan


@dataclass(frozen=True, kw_only=True)
class Notice:
    """Something the person should know and what to do about it; ``code`` is stable, with-dashes."""

    sample: int
    code: str
    text: str
    hint: str


Event = Frame | CutStarted | CutEnded | ChatterStarted | ChatterEnded | Notice
