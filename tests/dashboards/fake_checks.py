"""Tap tests and spindle checks over invented sensors: the real desks, with their rows in memory."""

import itertools

import numpy as np

from shopmon.capture.source import SourceFormat
from shopmon.service.settings import Machine
from shopmon.service.spindle.desk import SpindleDesk
from shopmon.service.tap.desk import TapDesk
from shopmon.signals.block import Block, Channel
from tests.hits import taps

RATE = 25_600.0
MODES = [(880.0, 0.03, 2.4e7), (1450.0, 0.03, 8e6), (2300.0, 0.02, 2.1e7)]
FORM = SourceFormat(
    source_id="fake",
    name="invented",
    sample_rate_hz=RATE,
    channels=(Channel(), Channel()),
    code_format="float32",
)


class FakeChecks:
    """Keeps tests and checks like the archive does."""

    def __init__(self):
        self.rows: dict[str, list[dict]] = {"tap_tests": [], "spindle_checks": []}
        self._number = itertools.count(1)

    def add_tap_test(self, values):
        return self._add("tap_tests", values)

    def tap_tests(self, key=None, limit=100):
        return [row for row in reversed(self.rows["tap_tests"]) if key in (None, row["key"])][:limit]

    def add_spindle_check(self, values):
        return self._add("spindle_checks", values)

    def spindle_checks(self, machine=None, limit=500):
        return [row for row in reversed(self.rows["spindle_checks"]) if machine in (None, row["machine"])][
            :limit
        ]

    def set_used(self, table, row_id, used):
        next(row for row in self.rows[table] if row["id"] == row_id)["used"] = used

    def flush(self, filing=True):
        pass

    def value(self, key):
        return self.rows.get(key)

    def set_value(self, key, value, origin):
        self.rows[key] = value

    def _add(self, table, values):
        number = next(self._number)
        self.rows[table].append(
            {"id": f"{table}-{number}", "t": 1.79e9 + 86_400.0 * number, "used": True, **values}
        )
        return self.rows[table][-1]["id"]


def fake_taps(monitor) -> TapDesk:
    """Return the desk of tap tests over a fake monitor."""
    return TapDesk(
        monitor.checks,
        monitor.context,
        monitor.state,
        lambda: FORM,
        monitor.set_context,
        lambda context: None,
    )


def fake_spindle(monitor) -> SpindleDesk:
    """Return the desk of spindle checks over a fake monitor."""
    return SpindleDesk(monitor.checks, Machine(max_rpm=18_000.0), lambda: FORM, lambda: None, lambda: 1.8e9)


def idle(rotation_hz: float, seconds: float = 10.0, loud: float = 1.0, seed: int = 0) -> np.ndarray:
    """Return an idling spindle at a steady speed, shape ``(n, 1)``; `loud` is the size of once per turn."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds * RATE)) / RATE
    sound = 0.01 * rng.standard_normal(t.size)
    for order, size in enumerate((0.05 * loud, 0.02, 0.015, 0.01, 0.01, 0.008, 0.008, 0.006), 1):
        sound += size * np.sin(2 * np.pi * order * rotation_hz * t + order)
    return sound[:, None]


def hits(count=6, double=(2,), seed=1) -> np.ndarray:
    """Return force and acceleration as shares of full scale, a second of quiet first; shape ``(n, 2)``."""
    force, response = taps(
        MODES, hits=count, apart_s=0.8, double=double, noise_db=-50, rate_hz=RATE, seed=seed
    )
    rng = np.random.default_rng(seed)
    quiet = rng.standard_normal((int(RATE), 2)) * [0.02, 0.003 * np.abs(response).max()]
    return np.concatenate([quiet, np.stack([force, response], axis=1)]) / [
        500.0,
        1.4 * np.abs(response).max(),
    ]


def blocks(columns: np.ndarray, rate_hz: float = RATE, size: int = 2048, stream_id: str = "one"):
    """Yield samples as blocks."""
    for begin in range(0, len(columns), size):
        part = columns[begin : begin + size].astype(np.float32)
        yield Block(
            codes=part, code_format="float32", sample_rate_hz=rate_hz, first_sample=begin, source_id="fake",
            stream_id=stream_id, channels=tuple(Channel() for _ in range(part.shape[1])),
        )  # fmt: skip
