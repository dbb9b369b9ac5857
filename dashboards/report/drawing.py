"""The figures of a report as numbers for inline SVG: lanes along a cut, and the spectrum of a moment."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from shopmon.dashboards.look.words import grouped

from shopmon.service.reporting.loudest import Spectrum

WIDTH, LEFT, RIGHT = 720.0, 62.0, 8.0
COLUMNS = 640
LANE_HEIGHT, LANE_GAP, BAND_HEIGHT = 80.0, 24.0, 50.0
SPECTRUM_HEIGHT = 190.0
SHORTEST_PX = 1.0
MINUTES_FROM_S = 120.0
ROUND_S = (15.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0)


@dataclass(frozen=True)
class Line:
    """A curve as SVG path data, how it is drawn, and what it is."""

    path: str
    kind: str
    name: str


@dataclass(frozen=True)
class Lane:
    """One picture with its own vertical axis; ticks are places and words."""

    name: str
    top: float
    height: float
    lines: list[Line]
    ticks: list[tuple[float, str]]


@dataclass(frozen=True)
class Strip:
    """A stretch of time: where it begins in the picture, how broad it is."""

    x: float
    width: float


@dataclass(frozen=True)
class Figure:
    """Lanes under one another that share the time axis."""

    height: float
    lanes: list[Lane]
    engaged: list[Strip]
    chatter: list[Strip]
    marks: list[float]
    ticks: list[tuple[float, str]]
    minutes: bool = False
    width: float = WIDTH
    left: float = LEFT
    right: float = WIDTH - RIGHT
    band: float = BAND_HEIGHT
    gaps: list[Strip] = field(default_factory=list)
    stands: list[tuple[float, str]] = field(default_factory=list)


def lanes_of(
    cut: dict[str, Any],
    figures: Mapping[str, Any] | None,
    span: tuple[float, float] | None = None,
    stands: Sequence[tuple[float, str]] = (),
) -> Figure:
    """Draw a cut: its bands, and the lanes that its figures give.

    Parameters
    ----------
    cut
        As the pages have it; seconds from the start of the recording.
    figures
        `shopmon.features/1`, None where there are none.
    span
        From when to when; None: the cut with a little air around it.
    stands
        Moments at which time stands still in the picture, with words.
    """
    first, last = span or _span(cut, figures)

    def x(at_s: float) -> float:
        inner = WIDTH - RIGHT - LEFT
        return LEFT + inner * float(np.clip((at_s - first) / (last - first), 0, 1))

    def strip(start_s: float, end_s: float) -> Strip:
        return Strip(round(x(start_s), 1), round(max(SHORTEST_PX, x(end_s) - x(start_s)), 1))

    lanes, top = [], BAND_HEIGHT + LANE_GAP
    for name, curves, spread, write in _wanted(figures):
        lane = _lane(name, top, curves, spread, write, figures["t_s"], (first, last))
        if lane:
            lanes.append(lane)
            top += LANE_HEIGHT + LANE_GAP
    return Figure(
        height=top - LANE_GAP + 18,
        lanes=lanes,
        engaged=[strip(*span) for span in cut["engaged"]],
        chatter=[strip(span["start_s"], span["end_s"]) for span in cut["chatter"]],
        marks=[round(x(mark["t_s"]), 1) for mark in cut["marks"] if mark["t_s"] is not None],
        ticks=[(round(x(at), 1), _seconds(at, last - first)) for at in time_ticks(first, last, 8)],
        gaps=[strip(*span) for span in cut.get("gaps") or []],
        minutes=last - first >= MINUTES_FROM_S,
        stands=[(round(x(at), 1), words) for at, words in stands],
    )


def _span(cut: dict[str, Any], figures: Mapping[str, Any] | None) -> tuple[float, float]:
    first, last = cut["start_s"], max(cut["end_s"], cut["start_s"] + 0.1)
    margin = max(0.5, 0.04 * (last - first))
    within = figures["t_s"] if figures is not None and len(figures["t_s"]) else [0.0, last + margin]
    return max(float(within[0]), first - margin, 0.0), max(last, min(float(within[-1]), last + margin))


def _wanted(figures: Mapping[str, Any] | None) -> list[tuple]:
    if figures is None or not len(figures["t_s"]):
        return []
    return [
        ("Spindle speed, rpm", [(figures["rpm"], "plain", "")], 20.0, lambda value: grouped(value, 5)),
        (
            "Energy, dB re full scale",
            [
                (figures["comb_db"], "plain", "spindle comb"),
                (figures["stray_db"], "stray", "stray tones"),
            ],
            20.0,
            lambda value: f"{value:.0f}".replace("-", "−"),
        ),
        (
            "Level, dB re full scale",
            [(figures["level_db"], "plain", "")],
            12.0,
            lambda value: f"{value:.0f}".replace("-", "−"),
        ),
    ]


def _lane(name, top, curves, spread, write, t_s, span) -> Lane | None:
    drawn = [(kind, words, *thinned(t_s, values, span)) for values, kind, words in curves]
    known = [values[np.isfinite(values)] for _, _, _, values in drawn]
    known = np.concatenate(known) if known else np.zeros(0)
    if not known.size:
        return None
    low, high = float(known.min()), float(known.max())
    middle, half = (low + high) / 2, max(spread, high - low) / 2 * 1.06
    low, high = middle - half, middle + half

    def y(value) -> np.ndarray:
        return top + LANE_HEIGHT * (high - np.asarray(value)) / (high - low)

    inner = WIDTH - RIGHT - LEFT
    lines = []
    for kind, words, at, values in drawn:
        lines.append(
            Line(path_of(LEFT + inner * (at - span[0]) / (span[1] - span[0]), y(values)), kind, words)
        )
    marks = [(round(float(y(value)), 1), write(value)) for value in ticks_between(low, high, 4)]
    return Lane(name, top, LANE_HEIGHT, lines, marks)


def thinned(t_s: np.ndarray, values: np.ndarray, span: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Return at most two points per column of the picture: the lowest and the highest value there.

    Returns
    -------
    t_s, values
        Shape ``(points,)``, in order; NaN where nothing is known in a column.
    """
    within = (t_s >= span[0]) & (t_s <= span[1])
    t_s, values = t_s[within], np.asarray(values, dtype=float)[within]
    if len(t_s) <= 2 * COLUMNS:
        return t_s, values
    starts = np.searchsorted(t_s, np.linspace(*span, COLUMNS, endpoint=False))
    starts = np.unique(starts[starts < len(t_s)])
    low = np.fmin.reduceat(values, starts)
    high = np.fmax.reduceat(values, starts)
    return np.repeat(t_s[starts], 2), np.column_stack([low, high]).ravel()


def path_of(x: np.ndarray, y: np.ndarray) -> str:
    """Return SVG path data through points; NaN breaks the line.

    Examples
    --------
    >>> path_of(np.array([0.0, 1.0, 2.0, 3.0]), np.array([5.0, 6.0, np.nan, 7.0]))
    'M0.0 5.0L1.0 6.0M3.0 7.0h0.1'
    """
    known = np.isfinite(y) & np.isfinite(x)
    parts = []
    for at in np.flatnonzero(known):
        joined = at > 0 and known[at - 1]
        parts.append(f"{'L' if joined else 'M'}{x[at]:.1f} {y[at]:.1f}")
        if not joined and (at + 1 == len(y) or not known[at + 1]):
            parts.append("h0.1")  # a lone point is seen, too
    return "".join(parts)


def ticks_between(low: float, high: float, most: int) -> list[float]:
    """Return round numbers between two values, at most `most`.

    Examples
    --------
    >>> ticks_between(0.0, 10.0, 5), ticks_between(11_950.0, 12_030.0, 4)
    ([0.0, 5.0, 10.0], [11960.0, 11980.0, 12000.0, 12020.0])
    """
    if not high > low:
        return [low]
    power = 10 ** np.floor(np.log10((high - low) / most))
    for factor in (1, 2, 5, 10):
        step = factor * power
        values = np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1) * step
        if len(values) <= most:
            return [float(value) + 0.0 for value in values]  # no minus before a zero
    return [low]


def time_ticks(first_s: float, last_s: float, most: int) -> list[float]:
    """Return round times between two, at most `most`; whole minutes where there are minutes.

    Examples
    --------
    >>> time_ticks(0.0, 7.0, 8), time_ticks(0.0, 3600.0, 8)[:3]
    ([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0], [0.0, 600.0, 1200.0])
    """
    if last_s - first_s < MINUTES_FROM_S:
        return ticks_between(first_s, last_s, most)
    step = next((step for step in ROUND_S if (last_s - first_s) / step < most), 3600.0)
    begin_s = np.ceil(first_s / step - 1e-9) * step + 0.0  # no minus before a zero
    return [float(at) for at in np.arange(begin_s, last_s + 1e-6, step)][:most]


def _seconds(at_s: float, length_s: float) -> str:
    if length_s >= MINUTES_FROM_S:
        minutes, seconds = divmod(round(at_s), 60)
        return f"{minutes}:{seconds:02d}"
    return f"{at_s:g}\u00a0s"


@dataclass(frozen=True)
class SpectrumFigure:
    """The spectrum of a moment, with the chatter line and the multiples of tooth passing marked."""

    path: str
    ticks: list[tuple[float, str]]
    levels: list[tuple[float, str]]
    teeth: list[float]
    line: tuple[float, float, str] | None
    width: float = WIDTH
    height: float = SPECTRUM_HEIGHT
    left: float = LEFT
    right: float = WIDTH - RIGHT


def spectrum_of(found: Spectrum, rpm: float | None, flutes: int | None) -> SpectrumFigure:
    """Draw a spectrum; `rpm` and `flutes` place the ticks of the teeth, where they are known."""
    top_hz = float(found.hz[-1])
    low = float(np.percentile(found.level_db, 2)) - 6
    high = float(found.level_db.max()) + 8

    def x(hz):
        return LEFT + (WIDTH - RIGHT - LEFT) * np.asarray(hz) / top_hz

    def y(level):
        return SPECTRUM_HEIGHT * (high - np.maximum(level, low)) / (high - low)

    passing = rpm * flutes / 60 if rpm and flutes else None
    teeth = np.arange(1, int(top_hz / passing) + 1) * passing if passing and passing > top_hz / 200 else []
    line = None
    if found.line_hz and found.line_hz <= top_hz:
        line = (
            round(float(x(found.line_hz)), 1),
            round(float(y(found.line_db)), 1),
            f"{grouped(found.line_hz)}\u00a0Hz",
        )
    return SpectrumFigure(
        path=path_of(x(found.hz), y(found.level_db)),
        ticks=[(round(float(x(hz)), 1), f"{hz / 1000:g}\u00a0kHz") for hz in ticks_between(0.0, top_hz, 7)],
        levels=[
            (round(float(y(level)), 1), f"{level:.0f}".replace("-", "−"))
            for level in ticks_between(low, high, 6)
        ],
        teeth=[round(float(x(hz)), 1) for hz in teeth],
        line=line,
    )
