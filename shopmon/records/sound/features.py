"""Features per frame (``shopmon.features/1``): speed, levels and state, kept when the audio is removed.

In the rolling buffer they are fixed-size records, so that a crash tears at most the last one. Per recording
they end in one compressed ``.npz`` with an array per column.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shopmon.errors import RecordingError
from shopmon.records.folder import whole_file
from shopmon.records.sound.chunks import chunks_between

SCHEMA = "shopmon.features/1"
SUFFIX = ".features"
STATES = (
    "no-input",
    "stopped",
    "spinning",
    "air-cut",
    "cutting",
    "chatter",
)  # stored by position: only append
LEVELS = ("rpm", "level_db", "comb_db", "stray_db")
RECORD = np.dtype(
    [
        ("end_sample", "<i8"),
        *((name, "<f4") for name in LEVELS),
        ("state", "u1"),
        ("engaged", "u1"),
        ("check", "<u2"),
    ]
)
WHOLE = 0xA55A  # the last field of a record that was written to its end


@dataclass(frozen=True, kw_only=True)
class FeatureRow:
    """The listener's view of one frame; levels in dB re full scale, None where not known.

    ``end_sample`` is one past the last sample that was used.
    """

    end_sample: int
    rpm: float | None
    level_db: float
    comb_db: float | None
    stray_db: float | None
    state: str
    engaged: bool

    def pack(self) -> bytes:
        """Return the fixed-size record."""
        levels = [np.nan if (value := getattr(self, name)) is None else value for name in LEVELS]
        return np.array(
            (self.end_sample, *levels, STATES.index(self.state), self.engaged, WHOLE), RECORD
        ).tobytes()


def read_records(folder: Path, first: int, end: int) -> np.ndarray:
    """Return a stream's records with ``first < end_sample <= end``, in order, of dtype `RECORD`."""
    parts = [np.zeros(0, RECORD)]
    for path in chunks_between(folder, SUFFIX, first, end):
        try:
            raw = path.read_bytes()
        except FileNotFoundError:
            continue  # evicted meanwhile
        rows = np.frombuffer(raw[: len(raw) - len(raw) % RECORD.itemsize], RECORD)
        keep = (rows["end_sample"] > first) & (rows["end_sample"] <= end) & (rows["check"] == WHOLE)
        parts.append(rows[keep])
    return np.concatenate(parts)


def write_features(path: Path, records: np.ndarray, first_sample: int, sample_rate_hz: float) -> None:
    """Write one recording's features so that they are there whole or not at all."""
    columns = {name: records[name] for name in RECORD.names if name != "check"}
    with whole_file(path) as fresh, open(fresh, "wb") as file:
        np.savez_compressed(
            file,
            schema=SCHEMA,
            first_sample=first_sample,
            sample_rate_hz=sample_rate_hz,
            states=STATES,
            **columns,
        )


def load_features(path: Path) -> dict:
    """Return what `write_features` wrote, in the form of `as_columns`.

    Raises
    ------
    RecordingError
        The file is damaged, or no such file.
    """
    try:
        with np.load(path, allow_pickle=False) as stored:
            records = np.zeros(len(stored["end_sample"]), RECORD)
            for name in RECORD.names[:-1]:
                records[name] = stored[name]
            return as_columns(records, int(stored["first_sample"]), float(stored["sample_rate_hz"]))
    except Exception as exc:
        # a damaged archive of arrays fails in the ways of zip, of deflation, of names, of sizes and of types
        raise RecordingError(
            "The figures of this cut cannot be read; the file is damaged.",
            "Its engagements and events are still listed; the sound, where there is any, can be heard again.",
        ) from exc


def as_columns(records: np.ndarray, first_sample: int, sample_rate_hz: float) -> dict:
    """Return records as arrays that begin with the recording.

    Returns
    -------
    dict
        ``schema``; ``t_s`` float64 seconds from the recording's first sample; ``rpm``, ``level_db``,
        ``comb_db``, ``stray_db`` float32 with NaN where not known; ``state`` str; ``engaged`` bool; all of
        shape ``(frames,)``.
    """
    return {
        "schema": SCHEMA,
        "t_s": (records["end_sample"] - first_sample) / sample_rate_hz,
        **{name: records[name] for name in LEVELS},
        "state": np.array(STATES)[records["state"]],
        "engaged": records["engaged"].astype(bool),
    }
