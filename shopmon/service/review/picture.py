"""Pictures of any part of a recording at any width, in hertz or orders, quickly."""

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shopmon.service.giving_way import give_way
from shopmon.service.review.overview import FINEST_S, FULL_SCALE, Overview, Overviews, make_overview
from shopmon.service.review.sound_reader import SoundReader
from shopmon.signals.levels import power_db
from shopmon.signals.spectrogram import (
    as_codes,
    bin_edges_hz,
    column_levels,
    column_starts,
    onto_orders,
    onto_rows,
    window_length,
)

AT_ONCE_S = 60.0  # so much sound is worked through while one waits
FIRST_LOOK_S = 1.0
READERS, TILES = 3, 128


@dataclass(frozen=True, kw_only=True)
class View:
    """What is asked for: a stretch of time in columns, a range of frequency in rows.

    ``axis`` is ``hertz`` or ``orders``; ``low`` and ``high`` are in its unit.
    """

    from_s: float
    to_s: float
    columns: int
    rows: int
    low: float
    high: float
    axis: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Picture:
    """Codes of shape ``(columns, rows)``, see `shopmon.signals.spectrogram.as_codes`; 0 outside the sound.

    ``rough`` says that of each column only one short moment was looked at, because the whole is not worked
    out yet: a short ringing may be missing.
    """

    codes: np.ndarray
    rough: bool


class OpenSound:
    """One recording that is being looked at, and its overview, which is made in the background."""

    def __init__(self, path: Path, overviews: Overviews):
        self.reader = SoundReader(path)
        self._path, self._overviews = path, overviews
        self.share = 1.0
        self.overview = overviews.load(path) if self.is_long else None
        self._closing = threading.Event()
        self._maker: threading.Thread | None = None
        self._lock = threading.Lock()

    @property
    def is_long(self) -> bool:
        """Whether the whole is too much to be worked through while one waits."""
        return self.reader.duration_s > AT_ONCE_S

    def want_overview(self) -> None:
        """Begin to make the overview, unless it is there or being made."""
        with self._lock:
            if self.overview is None and self._maker is None and self.is_long:
                self.share = 0.0
                self._maker = threading.Thread(target=self._make, name="picture", daemon=True)
                self._maker.start()

    def wait(self, timeout_s: float) -> bool:
        """Return True when nothing is being made any more."""
        if self._maker is not None:
            self._maker.join(timeout_s)
        return self._maker is None or not self._maker.is_alive()

    def close(self) -> None:
        """Stop and let the file go."""
        self._closing.set()
        if self._maker is not None:
            self._maker.join(10.0)
        self.reader.close()

    def _make(self) -> None:
        give_way()
        if self._closing.wait(FIRST_LOOK_S):  # what is seen first comes first
            return
        own = SoundReader(self._path)  # another reader: those who look must not wait for this one
        try:
            made = make_overview(own, self._go_on)
        finally:
            own.close()
        if made is not None:
            self.overview, self.share = made, 1.0
            self.reader.damaged |= own.damaged
            self._overviews.keep(self._path, made)

    def _go_on(self, share: float) -> bool:
        self.share = share
        return not self._closing.is_set()


class Pictures:
    """Makes pictures of recordings, and remembers the last ones.

    Parameters
    ----------
    overviews
        Where the pictures of whole recordings are kept.
    """

    def __init__(self, overviews: Overviews):
        self._overviews = overviews
        self._open: OrderedDict[Path, tuple[tuple, OpenSound]] = OrderedDict()
        self._tiles: OrderedDict[Hashable, Picture] = OrderedDict()
        self._lock = threading.Lock()

    def open(self, path: Path) -> OpenSound:
        """Return a recording, opened if it is not yet.

        Raises
        ------
        RecordingError
            It cannot be read as sound.
        OSError
            It is gone.
        """
        status = path.stat()
        mark = (status.st_size, status.st_mtime_ns)
        with self._lock:
            known = self._open.get(path)
            if known is not None and known[0] == mark:
                self._open.move_to_end(path)
                return known[1]
            sound = OpenSound(path, self._overviews)
            self._open[path] = (mark, sound)
            unused = [self._open.popitem(last=False)[1][1] for _ in range(len(self._open) - READERS)]
            if known is not None:
                unused.append(known[1])
        for each in unused:
            each.close()
        return sound

    def picture(
        self, path: Path, view: View, rotation_hz: Callable[[np.ndarray], np.ndarray], version: Hashable
    ) -> Picture:
        """Return the picture of a part of a recording.

        Parameters
        ----------
        path
            The recording.
        view
            Which part.
        rotation_hz
            Tells the rotation at times, NaN where it is not known.
        version
            Of the speed: the same gives the same rotation.
        """
        key = (path, view, version if view.axis == "orders" else None)
        with self._lock:
            if key in self._tiles:
                self._tiles.move_to_end(key)
                return self._tiles[key]
        made = self._make(self.open(path), view, rotation_hz)
        if not made.rough:
            with self._lock:
                self._tiles[key] = made
                while len(self._tiles) > TILES:
                    self._tiles.popitem(last=False)
        return made

    def close(self) -> None:
        """Let all recordings go."""
        with self._lock:
            sounds = [sound for _, sound in self._open.values()]
            self._open.clear()
        for sound in sounds:
            sound.close()

    def _make(self, sound: OpenSound, view: View, rotation_hz) -> Picture:
        step_s = (view.to_s - view.from_s) / view.columns
        inside = view.from_s + step_s * np.arange(view.columns)
        inside = (inside < sound.reader.duration_s) & (inside + step_s > 0)
        heard_s = min(view.to_s, sound.reader.duration_s) - max(view.from_s, 0.0)
        rough = False
        out = np.zeros((view.columns, view.rows), np.uint8)
        if not inside.any():
            return Picture(codes=out, rough=False)
        turning_hz = rotation_hz(view.from_s + step_s * (np.flatnonzero(inside) + 0.5))
        overview = sound.overview if heard_s > AT_ONCE_S or step_s >= FINEST_S else None
        if overview is not None:
            codes, edges = _from_overview(overview, view, step_s)[inside], overview.edges_hz
        elif heard_s <= AT_ONCE_S:
            codes, edges = _from_sound(sound.reader, view, step_s, inside, _highest_hz(view, turning_hz))
        else:
            sound.want_overview()
            codes, edges = _from_glances(sound.reader, view, step_s, inside)
            codes, rough = codes[inside], True
        out[inside] = _onto_view(codes, edges, view, turning_hz)
        return Picture(codes=out, rough=rough)


def _highest_hz(view: View, rotation_hz: np.ndarray) -> float:
    """Return up to where a view reaches: most recordings hold far more, and what is not seen is not made."""
    if view.axis == "hertz":
        return view.high
    known = rotation_hz[np.isfinite(rotation_hz)]
    return view.high * float(known.max()) if known.size else 0.0


def _from_sound(
    reader: SoundReader, view: View, step_s: float, inside: np.ndarray, highest_hz: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return the codes of the columns that lie inside the sound, and the edges of their bins."""
    rate = reader.sample_rate_hz
    length = window_length(step_s, rate)
    begin, count = int(np.argmax(inside)), int(inside.sum())  # they follow one another
    starts = column_starts((view.from_s + begin * step_s) * rate, step_s * rate, count, length)
    first = int(np.clip(starts.min(), 0, max(0, reader.frames - length)))
    samples = reader.read(first, min(reader.frames, max(int(starts.max()), first) + length))
    bins = int(min(highest_hz * length / rate, length // 2)) + 2
    codes = as_codes(column_levels(samples, starts - first, length, bins))
    return codes, bin_edges_hz(length, rate)[: codes.shape[1] + 1]


def _from_overview(overview: Overview, view: View, step_s: float) -> np.ndarray:
    # columns that are not on the kept ones' grid are put together from much narrower ones
    wide = [
        width
        for width in overview.levels
        if width <= step_s / 4
        or (width <= step_s * 1.001 and _is_whole(step_s / width) and _is_whole(view.from_s / width))
    ]
    width = max(wide, default=FINEST_S)
    codes = overview.levels[width]
    edges_s = view.from_s + step_s * np.arange(view.columns + 1)
    # a hair inside, so that edges on a common grid do not take in their neighbours
    first = np.floor(edges_s[:-1] / width + 1e-6).astype(int)
    last = np.ceil(edges_s[1:] / width - 1e-6).astype(int)
    first = np.clip(first, 0, codes.shape[0] - 1)
    last = np.clip(last, first + 1, codes.shape[0])
    return np.stack([codes[a:b].max(axis=0) for a, b in zip(first, last, strict=True)])


def _is_whole(ratio: float) -> bool:
    return abs(ratio - round(ratio)) < 1e-6


def _from_glances(reader: SoundReader, view: View, step_s: float, inside) -> tuple[np.ndarray, np.ndarray]:
    rate = reader.sample_rate_hz
    length = window_length(step_s, rate)
    codes = np.zeros((view.columns, length // 2 + 1), np.uint8)
    for column in np.flatnonzero(inside):
        middle = round((view.from_s + step_s * (column + 0.5)) * rate)
        samples = reader.glance(middle - length // 2, length)
        codes[column] = as_codes(column_levels(samples, np.zeros((1, 1), int), length))[0]
    return codes, bin_edges_hz(length, rate)


def _onto_view(codes: np.ndarray, edges_hz: np.ndarray, view: View, rotation_hz: np.ndarray) -> np.ndarray:
    edges = np.linspace(view.low, view.high, view.rows + 1)
    if view.axis == "orders":
        return onto_orders(codes, edges_hz, edges, rotation_hz, 0)
    rows = int(np.searchsorted(edges[:-1], edges_hz[-1]))
    out = np.zeros((codes.shape[0], view.rows), np.uint8)
    if rows and codes.shape[0]:
        out[:, :rows] = onto_rows(codes, edges_hz, edges[: rows + 1])
    return out


def sound_series(sound: OpenSound, from_s: float, to_s: float, points: int) -> dict[str, np.ndarray] | None:
    """Return level and extent of the sound over a stretch of time, None while they are not worked out.

    Returns
    -------
    dict
        ``t_s`` (middles), ``low`` and ``high`` (least and greatest sample), ``level_db`` re a full-scale
        sine, ``clipped`` (share of samples at full scale); arrays of shape ``(points,)``.
    """
    edges_s = np.linspace(max(0.0, from_s), min(to_s, sound.reader.duration_s), points + 1)
    middles = (edges_s[:-1] + edges_s[1:]) / 2
    if edges_s[-1] <= edges_s[0]:
        return None
    if edges_s[-1] - edges_s[0] <= AT_ONCE_S:
        return {"t_s": middles, **_series_of(sound.reader, edges_s)}
    if (overview := sound.overview) is None:
        return None
    places = np.clip((edges_s / FINEST_S).astype(int), 0, overview.peak.size - 1)
    peak, level_db, clipped = (
        np.maximum.reduceat(series, places[:-1])
        for series in (overview.peak, overview.level_db, overview.clipped)
    )
    return {"t_s": middles, "low": -peak, "high": peak, "level_db": level_db, "clipped": clipped}


def _series_of(reader: SoundReader, edges_s: np.ndarray) -> dict[str, np.ndarray]:
    edges = np.rint(edges_s * reader.sample_rate_hz).astype(int)
    samples = reader.read(edges[0], edges[-1])
    found = parts_figures(samples, edges - edges[0])
    return dict(zip(("low", "high", "level_db", "clipped"), found, strict=True))


def parts_figures(samples: np.ndarray, edges: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return least and greatest sample, level in dB re a full-scale sine, and share at full scale.

    As `sound_figures` of each part tells, of thousands of parts at once.

    Parameters
    ----------
    samples
        Shape ``(n,)``, full scale being 1.
    edges
        Where the parts begin and end, ascending, from 0 to n; shape ``(parts + 1,)``. A part may be empty.
    """
    counts = np.diff(edges)
    filled = counts > 0
    low, high, power, clipped = (np.zeros(counts.size) for _ in range(4))
    if filled.any():
        starts, sizes = edges[:-1][filled], counts[filled]
        middle = np.add.reduceat(samples, starts, dtype=np.float64) / sizes
        around = samples - np.repeat(middle.astype(np.float32), sizes)
        low[filled], high[filled] = np.minimum.reduceat(samples, starts), np.maximum.reduceat(samples, starts)
        power[filled] = 2.0 * np.add.reduceat(around * around, starts, dtype=np.float64) / sizes
        loud = (np.abs(samples) >= FULL_SCALE).astype(np.float64)
        clipped[filled] = np.add.reduceat(loud, starts) / sizes
    return low, high, power_db(power), clipped
