"""What the containers of recordings say about their own length, and whether the file keeps that promise.

libsndfile reads a file that was cut short without a word, and reads nothing at all of an RF64 file whose
writer was killed before it could fill in the length. Both are told here from the first bytes, and the second
is mended.

Layouts: RIFF/WAVE as in the Multimedia Programming Interface and Data Specifications 1.0 (1991); RF64 as in
EBU Tech 3306; Ogg pages as in RFC 3533.
"""

import struct
from typing import BinaryIO

HEAD_BYTES = 65_536
_UNKNOWN_32 = 0xFFFFFFFF
_STREAMED_FROM = 0x7FFFF000  # writers into a pipe put a length near 2**31 or 2**32: unknown, not wrong
_OGG_LAST_PAGE = 4


def is_cut_short(file: BinaryIO, size: int) -> bool:
    """Tell whether the container promises more than the file holds, or its writer never finished it.

    Parameters
    ----------
    file
        The file, opened for reading; its position is kept.
    size
        Its size in bytes.
    """
    head = _at(file, 0, HEAD_BYTES)
    if head[:4] in (b"RIFF", b"RF64"):
        return _riff_is_short(head, size)
    if head[:4] == b"FORM":
        return struct.unpack(">I", head[4:8])[0] + 8 > size
    if head[:4] == b"OggS":
        return not _ogg_is_closed(_at(file, max(0, size - HEAD_BYTES), HEAD_BYTES))
    return False


def unfinished_rf64_header(file: BinaryIO, size: int) -> bytes | None:
    """Return the first bytes of an RF64 file with the lengths that its killed writer left out.

    None when nothing is missing.

    Parameters
    ----------
    file
        The file, opened for reading; its position is kept.
    size
        Its size in bytes.
    """
    head = _at(file, 0, HEAD_BYTES)
    data = _data_chunk(head) if head[:4] == b"RF64" and head[12:16] == b"ds64" else None
    if data is None or data[1] > 0 or size <= data[0]:
        return None
    lengths = struct.pack("<QQ", size - 8, size - data[0])
    return head[:20] + lengths + head[36 : data[0]]


class PatchedFile:
    """A file whose first bytes read as given, everything after them as it lies on disk.

    Parameters
    ----------
    file
        The file, opened for reading.
    head
        What its first bytes are to be.
    """

    def __init__(self, file: BinaryIO, head: bytes):
        self._file = file
        self._head = head

    def read(self, count: int = -1) -> bytes:
        """Read up to `count` bytes."""
        begin = self._file.tell()
        raw = self._file.read(count)
        patch = self._head[begin : begin + len(raw)]
        return patch + raw[len(patch) :]

    def seek(self, offset: int, whence: int = 0) -> int:
        """Go to a position, as files do."""
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        """Return the position."""
        return self._file.tell()


def _at(file: BinaryIO, begin: int, count: int) -> bytes:
    kept = file.tell()
    file.seek(begin)
    raw = file.read(count)
    file.seek(kept)
    return raw


def _riff_is_short(head: bytes, size: int) -> bool:
    data = _data_chunk(head)
    if data is None:
        return False
    begin, declared = data
    if declared in (0, -1) and size > begin:
        return True
    streamed = (
        head[:4] == b"RIFF"
        and declared >= _STREAMED_FROM
        and (declared < 2**31 or declared >= 2 * _STREAMED_FROM)
    )
    return not streamed and begin + declared > size


def _data_chunk(head: bytes) -> tuple[int, int] | None:
    """Where the samples begin and how many bytes they have by the header (-1: never filled in)."""
    position, long_length = 12, None
    while position + 8 <= len(head):
        name, length = struct.unpack("<4sI", head[position : position + 8])
        if name == b"ds64" and len(head) >= position + 24:
            long_length = struct.unpack("<q", head[position + 16 : position + 24])[0]
        if name == b"data":
            known = long_length if length == _UNKNOWN_32 and long_length is not None else length
            return position + 8, known or (-1 if long_length is not None else 0)
        position += 8 + length + length % 2
    return None


def _ogg_is_closed(tail: bytes) -> bool:
    last = tail.rfind(b"OggS")
    return 0 <= last < len(tail) - 5 and bool(tail[last + 5] & _OGG_LAST_PAGE)
