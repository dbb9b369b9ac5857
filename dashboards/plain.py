"""Plain data for the outside: JSON without surprises."""

import json
import math
from dataclasses import asdict, is_dataclass
from datetime import datetime
from enum import Enum
from typing import Any

import numpy as np


def plain(value: Any) -> Any:
    """Return `value` as something JSON can hold: NaN and infinity as None, arrays as lists, paths as text."""
    if value is None or (isinstance(value, (str, bool, int)) and not isinstance(value, Enum)):
        return value
    if isinstance(value, (float, np.floating)):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, (list, tuple, set, frozenset)):
        return [plain(item) for item in value]
    return _plain_object(value)


def _plain_object(value: Any) -> Any:
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, Enum):
        return plain(value.value)
    if isinstance(value, datetime):
        return value.isoformat()
    if is_dataclass(value) and not isinstance(value, type):
        return plain(asdict(value))
    return str(value)


def to_json(value: Any) -> str:
    """Return `value` as compact JSON on one line, always valid.

    What is plain already, which is nearly everything, takes the short way.
    """
    try:
        return json.dumps(value, allow_nan=False, separators=(",", ":"), ensure_ascii=False)
    except (TypeError, ValueError):
        return json.dumps(plain(value), allow_nan=False, separators=(",", ":"), ensure_ascii=False)
