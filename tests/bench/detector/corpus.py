"""A corpus on disk: FOLDER/<n>.npy and FOLDER/<n>.json, drawn once and listened to as often as wanted."""

import json
import os
import time
from pathlib import Path

import numpy as np

from shopmon.errors import SettingError
from tests.bench.detector import drawing, making, sum_drawing, sum_making


def draw(folder, family, first, count, sensors=1):
    """Draw cases into a folder; what is there already is left alone, so that drawing can be resumed."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    begin = time.monotonic()
    for seed in range(first, first + count):
        stem = folder / str(stem_number(family, seed))
        if not stem.with_suffix(".json").exists():
            made = one(family, seed, sensors)
            if made is not None:
                keep(stem, *made)
    print(f"{family}: {count} seeds from {first}, {time.monotonic() - begin:.0f} s", flush=True)


def stem_number(family, seed):
    """Number of a case's files: families a hundred thousand apart."""
    return (ord(family) - ord("A")) * 100_000 + seed


def one(family, seed, sensors):
    """Draw and render one case; None where it is refused."""
    try:
        if family in sum_drawing.SUMS:
            return sum_making.rendered(sum_drawing.drawn(family, seed, sensors=sensors))
        return making.rendered(drawing.drawn(family, seed, sensors=sensors))
    except SettingError as exc:
        print(f"{family}{seed} left out: {exc}", flush=True)
        return None


def keep(stem, samples, truth):
    """Write samples and truth; the truth last and at once, so that a half-written case is never read."""
    np.save(stem.with_suffix(".npy"), samples)
    part = stem.with_suffix(".part")
    part.write_text(json.dumps(truth))
    os.replace(part, stem.with_suffix(".json"))


def stems(folder):
    """Every case of a folder, in order."""
    return [path.with_suffix("") for path in sorted(Path(folder).glob("*.json"), key=lambda p: int(p.stem))]


def truth_of_stem(stem):
    """The truth of a case."""
    return json.loads(stem.with_suffix(".json").read_text())


def samples_of(stem):
    """Samples of a case, float32, full scale being 1."""
    return np.load(stem.with_suffix(".npy")).astype(np.float32) / 32768
