"""The picture of a whole recording, worked out once and kept on disk: three widths of columns.

What is narrower than the narrowest is made from the sound when it is asked for, because that is quick.
"""

import hashlib
import itertools
import json
import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shopmon.service.review.sound_reader import SoundReader
from shopmon.signals.levels import power_db, sine_power
from shopmon.signals.spectrogram import (
    as_codes,
    bin_edges_hz,
    column_levels,
    column_starts,
    onto_rows,
    window_length,
)

SCHEMA = "shopmon.picture/1"
FINEST_S = 0.2
COARSER = (1, 4, 16)  # widths of the columns kept, in the finest
COLUMNS_AT_ONCE = 50
FULL_SCALE = 0.999
FINE_BINS, MIDDLE_BINS, MIDDLE, COARSE = 512, 2048, 4, 16
MOST_SHARE, LEAST_BYTES = 0.05, 64 * 10**6
SPARE_BYTES = 500 * 10**6


@dataclass(frozen=True, kw_only=True, eq=False)
class Overview:
    """A recording in columns.

    Attributes
    ----------
    edges_hz
        Frequencies between the rows, shape ``(rows + 1,)``: fine where tones are told apart.
    levels
        By width of their columns in seconds: codes of shape ``(columns, rows)``.
    peak, level_db, clipped
        Of the narrowest columns: greatest magnitude, level in dB re a full-scale sine, and the share of
        samples at full scale; shape ``(columns,)``.
    """

    edges_hz: np.ndarray
    levels: dict[float, np.ndarray]
    peak: np.ndarray
    level_db: np.ndarray
    clipped: np.ndarray


def make_overview(sound: SoundReader, progress: Callable[[float], bool]) -> Overview | None:
    """Work through a whole recording.

    Parameters
    ----------
    sound
        The recording.
    progress
        Called with the share done; work ends with None where it returns False.
    """
    rate, step = sound.sample_rate_hz, FINEST_S * sound.sample_rate_hz
    length = window_length(FINEST_S, rate)
    chosen = kept_rows(length)
    edges = bin_edges_hz(length, rate)[chosen]
    count = int(np.ceil(sound.frames / step))
    finest = np.zeros((count, edges.size - 1), np.uint8)
    figures = np.zeros((3, count), np.float32)
    for first in range(0, count, COLUMNS_AT_ONCE):
        if not progress(first / count):
            return None
        some = slice(first, min(first + COLUMNS_AT_ONCE, count))
        begin = max(0, round(first * step) - length)
        samples = sound.read(begin, round(some.stop * step) + length)
        starts = column_starts(first * step, step, some.stop - first, length) - begin
        levels = column_levels(samples, starts, length)
        finest[some] = as_codes(onto_rows(levels, bin_edges_hz(length, rate), edges))
        figures[:, some] = _figures(samples, (np.arange(first, some.stop + 1) * step - begin).astype(int))
    levels = {FINEST_S * factor: held(finest, factor) for factor in COARSER}
    return Overview(edges_hz=edges, levels=levels, peak=figures[0], level_db=figures[1], clipped=figures[2])


def kept_rows(length: int) -> np.ndarray:
    """Return which edges of a transform's bins are kept: all below, then every fourth, then every 16th."""
    bins = length // 2 + 1
    edges = np.concatenate(
        (
            np.arange(0, min(FINE_BINS, bins)),
            np.arange(FINE_BINS, min(MIDDLE_BINS, bins), MIDDLE),
            np.arange(MIDDLE_BINS, bins, COARSE),
        )
    )
    return np.append(edges, bins)


def held(codes: np.ndarray, factor: int) -> np.ndarray:
    """Return columns `factor` times as wide, each the loudest of those it covers."""
    return np.maximum.reduceat(codes, np.arange(0, codes.shape[0], factor), axis=0)


def sound_figures(samples: np.ndarray) -> tuple[float, float, float]:
    """Return greatest magnitude, level in dB re a full-scale sine, and the share at full scale."""
    if not samples.size:
        return 0.0, float(power_db(0.0)), 0.0
    size = np.abs(samples)
    level_db = float(power_db(float(sine_power(samples[:, None])[0])))
    return float(size.max()), level_db, float(np.mean(size >= FULL_SCALE))


def _figures(samples: np.ndarray, edges: np.ndarray) -> np.ndarray:
    return np.array([sound_figures(samples[a:b]) for a, b in itertools.pairwise(edges)]).T


class Overviews:
    """Keeps overviews in a folder within a budget; the ones unused for longest go.

    Parameters
    ----------
    folder
        Their own; made when the first is kept.
    budget_bytes
        What all sound may take; the pictures may take a twentieth of that, or 64 MB.
    """

    def __init__(self, folder: Path, budget_bytes: int):
        self._folder = folder
        self.most_bytes = max(LEAST_BYTES, int(MOST_SHARE * budget_bytes))

    def load(self, recording: Path) -> Overview | None:
        """Return what is kept of a recording; None where nothing is, or it cannot be read."""
        folder = self._of(recording)
        try:
            description = json.loads((folder / "picture.json").read_text(encoding="utf-8"))
            if description["schema"] != SCHEMA:
                return None
            levels = {
                FINEST_S * factor: np.load(folder / f"{factor}.npy", mmap_mode="r") for factor in COARSER
            }
            figures = np.load(folder / "sound.npy")
            edges = np.array(description["edges_hz"])
            if any(each.shape[1] != edges.size - 1 for each in levels.values()):
                return None
            os.utime(folder)
            return Overview(
                edges_hz=edges, levels=levels, peak=figures[0], level_db=figures[1], clipped=figures[2]
            )
        except (OSError, ValueError, KeyError, TypeError, EOFError):
            return None

    def keep(self, recording: Path, overview: Overview) -> None:
        """Write an overview so that it is there whole or not at all; without room it is not kept."""
        folder = self._of(recording)
        fresh = folder.with_name(folder.name + ".tmp")
        try:
            self._folder.mkdir(exist_ok=True)
            if shutil.disk_usage(self._folder).free < SPARE_BYTES:
                return
            shutil.rmtree(fresh, ignore_errors=True)
            fresh.mkdir()
            for factor, codes in zip(COARSER, overview.levels.values(), strict=True):
                np.save(fresh / f"{factor}.npy", codes)
            np.save(fresh / "sound.npy", np.stack((overview.peak, overview.level_db, overview.clipped)))
            description = {"schema": SCHEMA, "edges_hz": overview.edges_hz.tolist()}
            (fresh / "picture.json").write_text(json.dumps(description), encoding="utf-8")
            shutil.rmtree(folder, ignore_errors=True)
            fresh.rename(folder)
            self._make_room()
        except OSError:
            # a picture is made again when it is wanted; the disk is for the sound
            shutil.rmtree(fresh, ignore_errors=True)

    def _of(self, recording: Path) -> Path:
        status = recording.stat()
        mark = f"{recording.name} {status.st_size} {status.st_mtime_ns}"
        return self._folder / hashlib.sha256(mark.encode()).hexdigest()[:24]

    def _make_room(self) -> None:
        found = []
        for folder in self._folder.iterdir():
            size = sum(file.stat().st_size for file in folder.iterdir())
            found.append((folder.stat().st_mtime, size, folder))
        total = sum(size for _, size, _ in found)
        for _, size, folder in sorted(found)[:-1]:
            if total <= self.most_bytes:
                break
            shutil.rmtree(folder, ignore_errors=True)
            total -= size
