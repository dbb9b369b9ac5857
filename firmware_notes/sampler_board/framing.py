"""Frames of the sampler board's stream: see ../sampler_board.md. Runs under MicroPython 1.20 and later.

Everything is written into buffers made once: a collector that runs in mid-stream would cost samples.
"""

import binascii
import struct

import micropython

KIND = 0xA1
TACH_CONNECTED = 0x01
NO_TEMPERATURE = -0x8000
HEADER = "<BBBBBBHIIQIIIhH"
HEADER_BYTES = 40
MOST_EDGES = 64


class FrameWriter:
    """Packs slots of samples into stuffed frames.

    slot_frames: most samples in a frame. axes, sample_bytes: as in the stream. rate_mhz: sample rate in
    thousandths of a hertz. range_mg: full scale in thousandths of g.
    """

    def __init__(self, session, sensor_id, axes, sample_bytes, rate_mhz, range_mg, slot_frames, tach=False):
        self._fixed = (session, sensor_id, axes, sample_bytes, rate_mhz, range_mg)
        self._flags = TACH_CONNECTED if tach else 0
        most = HEADER_BYTES + slot_frames * axes * sample_bytes + 4 * MOST_EDGES + 4
        self._plain = bytearray(most)
        self._view = memoryview(self._plain)
        self._packed = bytearray(most + most // 254 + 2)
        self._packed_view = memoryview(self._packed)
        self.sequence = 0

    def pack(self, first_sample, dropped, samples, frames, edges=(), temperature=NO_TEMPERATURE):
        """Return the frame as a memoryview that holds until the next call.

        samples: bytes of at least frames * axes * sample_bytes. edges: places of pulses after the first
        sample, in 1/65536 sample, rising. temperature: in 0.01 degrees Celsius.
        """
        session, sensor_id, axes, width, rate_mhz, range_mg = self._fixed
        count = min(len(edges), MOST_EDGES)
        struct.pack_into(
            HEADER,
            self._plain,
            0,
            KIND,
            self._flags,
            sensor_id,
            axes,
            width,
            count,
            frames,
            session,
            self.sequence,
            first_sample,
            dropped,
            rate_mhz,
            range_mg,
            temperature,
            0,
        )
        size = frames * axes * width
        end = HEADER_BYTES + size
        self._view[HEADER_BYTES:end] = memoryview(samples)[:size]
        for at in range(count):
            struct.pack_into("<I", self._plain, end, edges[at])
            end += 4
        struct.pack_into("<I", self._plain, end, binascii.crc32(self._view[:end]))
        length = stuff(self._plain, end + 4, self._packed)
        self.sequence = (self.sequence + 1) & 0xFFFFFFFF
        return self._packed_view[:length]


@micropython.viper
def stuff(plain, size: int, packed) -> int:
    """Pack by consistent-overhead byte stuffing, with the zero byte that ends a frame; return the length."""
    source = ptr8(plain)
    target = ptr8(packed)
    code_at = 0
    at = 1
    code = 1
    for index in range(size):
        byte = source[index]
        if byte == 0:
            target[code_at] = code
            code_at = at
            at += 1
            code = 1
        else:
            target[at] = byte
            at += 1
            code += 1
            if code == 255:
                target[code_at] = 255
                code_at = at
                at += 1
                code = 1
    target[code_at] = code
    target[at] = 0
    return at + 1
