"""Integer codes: which formats there are, how they lie in memory, and where full scale is."""

import numpy as np

from shopmon.signals.block import CodeFormat

CODE_BYTES: dict[CodeFormat, int] = {"int16": 2, "int24": 3, "int32": 4}
DTYPES: dict[CodeFormat, type] = {
    "int16": np.int16,
    "int24": np.int32,
    "int32": np.int32,
    "float32": np.float32,
}

# A converter of 16 bits behind a wider format never reaches the widest code: full scale is meant to 16 bits.
_FULL_SCALE: dict[CodeFormat, tuple[float, float]] = {
    "int16": (-(2**15) + 1, 2**15 - 1),
    "int24": (-(2**23) + 2**8, 2**23 - 2**8),
    "int32": (-(2**31) + 2**16, 2**31 - 2**16),
    "float32": (-1.0 + 2.0**-15, 1.0 - 2.0**-15),
}


def full_scale(code_format: CodeFormat, bits: int = 16) -> tuple[float, float]:
    """Return the lowest and highest code that still counts as below full scale's last step.

    Parameters
    ----------
    code_format
        Format of the codes.
    bits
        Resolution of what made them, when it is coarser than 16 (8-bit recordings).
    """
    low, high = _FULL_SCALE[code_format]
    if bits >= 16:
        return low, high
    step = high * 2.0 ** (1 - bits)
    return low + step, high - step


def unpack(raw: np.ndarray, code_format: CodeFormat, channels: int) -> np.ndarray:
    """Turn the bytes a device delivered into codes.

    Parameters
    ----------
    raw
        uint8, interleaved frames in the machine's byte order; 24-bit codes packed into three bytes.
    code_format
        ``"int16"``, ``"int24"`` or ``"int32"``.
    channels
        Codes per frame.

    Returns
    -------
    numpy.ndarray
        Shape ``(frames, channels)``; int16 or int32, 24-bit codes right-justified.
    """
    if code_format == "int24":
        return _unpack_24(raw).reshape(-1, channels)
    return raw.view(DTYPES[code_format]).reshape(-1, channels)


def _unpack_24(raw: np.ndarray) -> np.ndarray:
    wide = np.zeros((raw.size // 3, 4), np.uint8)
    wide[:, 1:] = raw.reshape(-1, 3)  # into the upper bytes, so that the shift extends the sign
    return wide.reshape(-1).view("<i4") >> 8
