"""The stream of the sampler board, byte for byte; ``firmware_notes/sampler_board.md`` defines it.

A frame is packed by consistent-overhead byte stuffing (Cheshire, Baker, *IEEE/ACM Trans. Networking* 7, 1999,
159–172), so that the byte 0 stands between frames and nowhere else: after any garbage the next 0 is a
beginning. It ends with a CRC-32 (IEEE 802.3). Nothing here reads a port, a clock or a file.
"""

import struct
import zlib
from dataclasses import dataclass

import numpy as np

KIND = 0xA1
TACH_CONNECTED = 0x01
KNOWN_FLAGS = TACH_CONNECTED
HEADER = struct.Struct("<BBBBBBHIIQIIIhH")
HEADER_BYTES = HEADER.size
CRC_BYTES = 4
EDGE_BYTES = 4
NO_TEMPERATURE = -0x8000
MOST_FRAMES, MOST_EDGES, MOST_AXES = 1024, 64, 6
MOST_BYTES = HEADER_BYTES + MOST_FRAMES * MOST_AXES * 3 + MOST_EDGES * EDGE_BYTES + CRC_BYTES
MOST_STUFFED_BYTES = MOST_BYTES + MOST_BYTES // 254 + 2


@dataclass(frozen=True, kw_only=True, eq=False)
class BoardFrame:
    """One frame as the board sent it.

    Attributes
    ----------
    session
        A number that the board draws anew at every start and whenever its rate, range or sensor changes.
    sequence
        Counts the frames sent in this session, from 0.
    first_sample
        Index of the first sample since the session began, those that were dropped counted in.
    dropped
        How many samples the board had to drop since the session began.
    sensor_id
        Which family of sensor; 0 is unknown.
    sample_rate_hz
        As the board measured it against its own quartz before the session began.
    range_g
        What full scale of the codes means by the sensor's data sheet.
    sample_bytes
        2 or 3: int16 or int24.
    temperature_c
        Of the sensor, None where it has no thermometer.
    tach_connected
        A tachometer is connected to the board.
    edges
        Edges of the tachometer, in samples after `first_sample`, in rising order.
    codes
        Shape ``(frames, axes)``; int16, or int32 holding 24 bits.
    """

    session: int
    sequence: int
    first_sample: int
    dropped: int
    sensor_id: int
    sample_rate_hz: float
    range_g: float
    sample_bytes: int
    temperature_c: float | None
    tach_connected: bool
    edges: tuple[float, ...]
    codes: np.ndarray

    @property
    def end_sample(self) -> int:
        """Index one past the last sample."""
        return self.first_sample + len(self.codes)

    @property
    def stream_key(self) -> tuple:
        """What must stay as it is for two frames to belong to one stream."""
        return (self.session, self.sensor_id, self.sample_rate_hz, self.range_g, self.sample_bytes,
                self.codes.shape[1], self.tach_connected)  # fmt: skip


def unstuff(packed: bytes) -> bytes | None:
    """Undo consistent-overhead byte stuffing; None where the bytes cannot have been made by it.

    Parameters
    ----------
    packed
        What stood between two zero bytes.
    """
    parts, at, end = [], 0, len(packed)
    while at < end:
        code = packed[at]
        after = at + code
        if code == 0 or after > end:
            return None
        parts.append(packed[at + 1 : after])
        if code != 255 and after < end:
            parts.append(b"\0")
        at = after
    return b"".join(parts)


def stuff(plain: bytes) -> bytes:
    """Pack bytes by consistent-overhead byte stuffing, without the zero byte that ends a frame."""
    out = bytearray()
    for part in plain.split(b"\0"):
        while len(part) >= 254:
            out += b"\xff" + part[:254]
            part = part[254:]
        out.append(len(part) + 1)
        out += part
    return bytes(out)


def pack_frame(frame: BoardFrame) -> bytes:
    """Write a frame as the board does, stuffed and with the zero byte that ends it."""
    temperature = NO_TEMPERATURE if frame.temperature_c is None else round(100 * frame.temperature_c)
    head = HEADER.pack(
        KIND,
        TACH_CONNECTED if frame.tach_connected else 0,
        frame.sensor_id,
        frame.codes.shape[1],
        frame.sample_bytes,
        len(frame.edges),
        len(frame.codes),
        frame.session,
        frame.sequence,
        frame.first_sample,
        frame.dropped,
        round(1000 * frame.sample_rate_hz),
        round(1000 * frame.range_g),
        temperature,
        0,
    )
    wide = np.ascontiguousarray(frame.codes, "<i4").reshape(-1, 1).view(np.uint8)
    edges = np.round(np.array(frame.edges, float) * 65536).astype("<u4").tobytes()
    plain = head + wide[:, : frame.sample_bytes].tobytes() + edges
    return stuff(plain + struct.pack("<I", zlib.crc32(plain))) + b"\0"


def read_frame(packed: bytes) -> BoardFrame | None:
    """Read what stood between two zero bytes; None for whatever is not a whole, sound frame.

    Every field is checked, so that a frame with a right CRC that makes no sense is refused too.
    """
    plain = _whole(packed)
    return None if plain is None else _checked(plain)


def _whole(packed: bytes) -> bytes | None:
    """Unpack what stood between two zero bytes; None where its check sum is not right."""
    if not CRC_BYTES < len(packed) <= MOST_STUFFED_BYTES:
        return None
    plain = unstuff(packed)
    if plain is None or len(plain) <= CRC_BYTES:
        return None
    body = memoryview(plain)[:-CRC_BYTES]
    return plain if zlib.crc32(body) == int.from_bytes(plain[-CRC_BYTES:], "little") else None


def _checked(plain: bytes) -> BoardFrame | None:
    if len(plain) < HEADER_BYTES + CRC_BYTES:
        return None
    (kind, flags, sensor_id, axes, width, edge_count, frames, session, sequence, first_sample, dropped,
     rate_mhz, range_mg, temperature, reserved) = HEADER.unpack_from(plain)  # fmt: skip
    data_bytes = frames * axes * width
    sane = (
        kind == KIND
        and not flags & ~KNOWN_FLAGS
        and not reserved
        and width in (2, 3)
        and 1 <= axes <= MOST_AXES
        and 1 <= frames <= MOST_FRAMES
        and edge_count <= MOST_EDGES
        and len(plain) == HEADER_BYTES + data_bytes + EDGE_BYTES * edge_count + CRC_BYTES
        and dropped <= first_sample < 1 << 62
        and 1000 <= rate_mhz <= 1_000_000_000
        and range_mg > 0
    )
    if not sane:
        return None
    edges = np.frombuffer(plain, "<u4", edge_count, HEADER_BYTES + data_bytes) / 65536
    if edge_count and (edges[-1] >= frames or (np.diff(edges) <= 0).any()):
        return None
    return BoardFrame(
        session=session,
        sequence=sequence,
        first_sample=first_sample,
        dropped=dropped,
        sensor_id=sensor_id,
        sample_rate_hz=rate_mhz / 1000,
        range_g=range_mg / 1000,
        sample_bytes=width,
        temperature_c=None if temperature == NO_TEMPERATURE else temperature / 100,
        tach_connected=bool(flags & TACH_CONNECTED),
        edges=tuple(edges.tolist()),
        codes=_codes(plain[HEADER_BYTES : HEADER_BYTES + data_bytes], axes, width),
    )


def _codes(raw: bytes, axes: int, width: int) -> np.ndarray:
    if width == 2:
        return np.frombuffer(raw, "<i2").astype(np.int16).reshape(-1, axes)
    wide = np.zeros((len(raw) // 3, 4), np.uint8)
    wide[:, 1:] = np.frombuffer(raw, np.uint8).reshape(-1, 3)
    return (wide.reshape(-1).view("<i4") >> 8).astype(np.int32).reshape(-1, axes)


class FrameCutter:
    """Cuts a stream of bytes into frames, whatever lies between them.

    Attributes
    ----------
    refused
        Pieces between two zero bytes that were no sound frame, but for the one before the first zero byte:
        nobody hears a stream from its beginning.
    foreign
        Those among them that came whole, with a right check sum: frames of another version.
    """

    def __init__(self):
        self._rest = b""
        self._begun = False
        self._overlong = False
        self.refused = self.foreign = 0

    def feed(self, data: bytes) -> list[BoardFrame]:
        """Take in bytes as they came; return the frames that are whole now, in order."""
        pieces = (self._rest + data).split(b"\0")
        self._rest = pieces.pop()
        frames = []
        for piece in pieces:
            plain = None if self._overlong else _whole(piece)
            frame = None if plain is None else _checked(plain)
            self.foreign += plain is not None and frame is None
            if frame is not None:
                frames.append(frame)
            elif self._begun and (piece or self._overlong):
                self.refused += 1
            self._begun, self._overlong = True, False
        if len(self._rest) > MOST_STUFFED_BYTES:
            # no frame is as long as this: keep no endless garbage, and skip what is left of it
            self._rest, self._overlong = b"", True
        return frames
