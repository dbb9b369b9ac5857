"""Photographs of surfaces from files: opened with limits, so that no file can fill the memory.

Sizes are read from the header and checked before anything is decoded.
"""

import io
import struct
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shopmon.errors import RecordingError, SettingError

MOST_BYTES = 64 * 2**20
MOST_PIXELS = 50_000_000
LEAST_SIDE_PX = 64
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "BMP")
KINDS = "JPEG, PNG, WebP, TIFF or BMP"
DAMAGED = (OSError, ValueError, SyntaxError, TypeError, KeyError, IndexError, EOFError, OverflowError)


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture in grey.

    Attributes
    ----------
    grey
        Shape ``(rows, columns)``, upright as the camera's note of its orientation says; 8 bit, or float32 of
        pictures with more.
    whole_px
        Columns and rows of the whole picture.
    region_px
        Left, top, width and height of the part that `grey` is; None for the whole.
    """

    grey: np.ndarray
    whole_px: tuple[int, int]
    region_px: tuple[int, int, int, int] | None = None


def read_picture(
    source: str | Path | bytes, *, name: str = "", region_px: tuple[int, int, int, int] | None = None
) -> Picture:
    """Read a picture.

    Parameters
    ----------
    source
        A file, or its content.
    name
        What to call it in a message; the file's name if empty.
    region_px
        Left, top, width and height of the part that is wanted.

    Raises
    ------
    RecordingError
        It cannot be read, is no such picture, is animated, or has more than 50 megapixels or 64 MB.
    SettingError
        The region is not in the picture, or too small.
    """
    name = name or ("The picture" if isinstance(source, bytes) else Path(source).name)
    content = source if isinstance(source, bytes) else _content(Path(source), name)
    if len(content) > MOST_BYTES:
        raise RecordingError(f"{name} has more than {MOST_BYTES // 2**20} MB.", "Take a smaller picture.")
    from PIL import Image, UnidentifiedImageError

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with Image.open(io.BytesIO(content), formats=FORMATS) as image:
                _check_size(image, name)
                return _grey(image, name, region_px)
        except (RecordingError, SettingError):
            raise
        except Image.DecompressionBombError:
            raise RecordingError(*_too_many(name)) from None
        except UnidentifiedImageError:
            raise RecordingError(f"{name} is no picture that can be read.", f"Take {KINDS}.") from None
        except (*DAMAGED, struct.error, MemoryError, Warning):
            raise RecordingError(f"{name} is damaged or not complete.", "Take or copy it again.") from None


def _content(path: Path, name: str) -> bytes:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise RecordingError(f"{name} has more than {MOST_BYTES // 2**20} MB.", "Take a smaller picture.")
        return path.read_bytes()
    except RecordingError:
        raise
    except (OSError, ValueError) as exc:
        reason = getattr(exc, "strerror", None) or "no such name"
        raise RecordingError(f"{name} cannot be read ({reason}).", "Check the name.") from None


def _too_many(name: str) -> tuple[str, str]:
    most = MOST_PIXELS // 1_000_000
    return f"{name} has more than {most} megapixels.", "Cut out the part with the marks, and take that."


def _check_size(image, name: str) -> None:
    width, height = image.size
    if width * height > MOST_PIXELS:
        raise RecordingError(*_too_many(name))
    if min(width, height) < LEAST_SIDE_PX:
        raise RecordingError(
            f"{name} has {width} × {height} pixels.",
            f"Take one of {LEAST_SIDE_PX} × {LEAST_SIDE_PX} at least.",
        )
    # MPO is a JPEG with further ones behind it, as some phones make it; the first is the photograph
    if image.format != "MPO" and getattr(image, "n_frames", 1) > 1:
        raise RecordingError(f"{name} holds several pictures.", "Save one of them by itself.")


def _grey(image, name: str, region_px: tuple[int, int, int, int] | None) -> Picture:
    from PIL import ImageOps

    image.draft("L", image.size)  # a JPEG then gives its brightness only, a third of the memory
    image.load()
    turned = ImageOps.exif_transpose(image)
    whole = turned.size
    if region_px is not None:
        left, top, width, height = _checked(region_px, whole)
        turned = turned.crop((left, top, left + width, top + height))
    if turned.mode[0] in "IF":
        grey = np.asarray(turned, dtype=np.float32)
        if not np.isfinite(grey).all():
            raise RecordingError(f"{name} holds values that are no numbers.", "Save it again as PNG.")
    else:
        grey = np.asarray(turned if turned.mode == "L" else turned.convert("RGB").convert("L"))
    return Picture(grey=grey, whole_px=whole, region_px=region_px)


def _checked(region_px: tuple[int, int, int, int], whole: tuple[int, int]) -> tuple[int, int, int, int]:
    left, top, width, height = region_px
    if min(width, height) < LEAST_SIDE_PX:
        raise SettingError(
            f"A part of {width} × {height} pixels is too small.", f"Take {LEAST_SIDE_PX} or more each way."
        )
    if left < 0 or top < 0 or left + width > whole[0] or top + height > whole[1]:
        raise SettingError(
            f"That part is not in the picture of {whole[0]} × {whole[1]} pixels.", "Choose it again."
        )
    return left, top, width, height
