"""The listener's memory as plain, versioned data: ``shopmon.listener-state/2``."""

import base64
from typing import Any

import numpy as np

SCHEMA = "shopmon.listener-state/2"
LEARNED = ("background", "speed", "mix", "shape", "usual")


def encode(value: Any) -> Any:
    """Turn numbers, texts, lists, dicts and arrays into what JSON knows."""
    if isinstance(value, np.ndarray):
        data = base64.b64encode(np.ascontiguousarray(value).tobytes()).decode("ascii")
        return {"array": data, "dtype": value.dtype.str, "shape": list(value.shape)}
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, dict):
        return {key: encode(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [encode(item) for item in value]
    return value


def decode(value: Any) -> Any:
    """Undo `encode`; arrays come back exactly, tuples as lists."""
    if isinstance(value, dict):
        if "array" in value:
            flat = np.frombuffer(base64.b64decode(value["array"]), dtype=np.dtype(value["dtype"]))
            return flat.reshape(value["shape"]).copy()
        return {key: decode(item) for key, item in value.items()}
    if isinstance(value, list):
        return [decode(item) for item in value]
    return value


def is_current(snapshot: dict) -> bool:
    """Tell whether this version of the listener understands a snapshot."""
    return snapshot.get("schema") == SCHEMA


def learned(snapshot: dict) -> dict:
    """Keep what is worth knowing in another stream: background and speed, nothing of the samples at hand.

    Parameters
    ----------
    snapshot
        From `Listener.snapshot`.
    """
    names = ("schema", "sample_rate_hz", "channels", "setup", *LEARNED)
    # a state of before sources were joined does not say what its channels are
    of = {"of": snapshot["of"]} if "of" in snapshot else {}
    return {**{name: snapshot[name] for name in names}, **of, "learned_only": True}


class Memory:
    """Base of the stages: their memory is the attributes named in `kept`."""

    kept: tuple[str, ...] = ()

    def snapshot(self) -> dict:
        """Return the memory as plain data."""
        return {name: encode(getattr(self, name)) for name in self.kept}

    def restore(self, data: dict) -> None:
        """Take up a memory that `snapshot` gave."""
        for name in self.kept:
            setattr(self, name, decode(data[name]))
