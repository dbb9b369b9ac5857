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
