"""Photographs beside the database: taken as they come, known by their first bytes, never changed."""

from pathlib import Path

from shopmon.errors import SettingError, StoreError
from shopmon.records.folder import FolderPaths, sync, whole_file

LARGEST_BYTES = 8 * 2**20
SUFFIXES = {"image/jpeg": ".jpg", "image/png": ".png", "image/webp": ".webp"}


class Photos:
    """Keeps pictures in the data folder.

    Parameters
    ----------
    data
        The data folder.
    """

    def __init__(self, data: FolderPaths):
        self._data = data

    def keep(self, photo_id: str, content: bytes) -> tuple[str, str]:
        """Write a picture; return its path as the database has it, and its media type.

        Raises
        ------
        SettingError
            It is no picture that every browser shows, or too large.
        StoreError
            The disk does not take it.
        """
        media_type = kind_of(content)
        if media_type is None:
            raise SettingError("This is no picture that can be kept.", "Take a JPEG, PNG or WebP picture.")
        if len(content) > LARGEST_BYTES:
            raise SettingError(
                f"The picture has {len(content) / 2**20:.0f} MB, more than {LARGEST_BYTES // 2**20}.",
                "Take a smaller one.",
            )
        path = self._data.photos / f"{photo_id}{SUFFIXES[media_type]}"
        try:
            path.parent.mkdir(exist_ok=True)
            with whole_file(path) as fresh:
                fresh.write_bytes(content)
            sync(path.parent)
        except OSError as exc:
            raise StoreError(
                f"The picture cannot be kept ({exc.strerror}).", "Look at the disk's free space."
            ) from exc
        return self._data.relative(path), media_type

    def find(self, relative: str, media_type: str) -> tuple[Path, str] | None:
        """Return where a picture lies, None where it is gone."""
        path = self._data.root / relative
        return (path, media_type) if path.is_file() else None


def kind_of(content: bytes) -> str | None:
    """Tell a picture's media type by how it begins; None for anything else."""
    if content.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "image/webp"
    return None


def pixels_of(content: bytes) -> tuple[int, int] | None:
    """Read width and height from a picture's own header, without unpacking it; None where there are none.

    PNG: ISO/IEC 15948, 11.2.2. JPEG: ITU-T T.81, B.2.2. WebP: RFC 9649, 2.5 to 2.7.
    """
    kind = kind_of(content)
    if kind == "image/png" and content[12:16] == b"IHDR" and len(content) >= 24:
        return int.from_bytes(content[16:20], "big"), int.from_bytes(content[20:24], "big")
    if kind == "image/webp" and len(content) >= 30:
        return _webp_size(content)
    return _jpeg_size(content) if kind == "image/jpeg" else None


def _webp_size(content: bytes) -> tuple[int, int] | None:
    form = content[12:16]
    if form == b"VP8X":
        return 1 + int.from_bytes(content[24:27], "little"), 1 + int.from_bytes(content[27:30], "little")
    if form == b"VP8L":
        bits = int.from_bytes(content[21:25], "little")
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    if form == b"VP8 ":
        sizes = (int.from_bytes(content[at : at + 2], "little") & 0x3FFF for at in (26, 28))
        return next(sizes), next(sizes)
    return None


def _jpeg_size(content: bytes) -> tuple[int, int] | None:
    at = 2
    while at + 9 < len(content) and content[at] == 0xFF:
        marker = content[at + 1]
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):  # a start of frame
            height, width = (int.from_bytes(content[at + i : at + i + 2], "big") for i in (5, 7))
            return width, height
        at += 1 if marker == 0xFF else 2 + int.from_bytes(content[at + 2 : at + 4], "big")
    return None
