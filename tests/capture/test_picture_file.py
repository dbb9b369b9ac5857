"""Pictures: every kind that is read, and everything that must be refused before it can do harm."""

import contextlib
import io
import struct
import zlib

import numpy as np
import pytest
from PIL import Image

from shopmon.capture import picture_file
from shopmon.capture.picture_file import read_picture
from shopmon.errors import RecordingError, SettingError

RAMP = np.add.outer(np.arange(80), 2 * np.arange(100)).astype(np.uint8)


def saved(image, kind, **options):
    file = io.BytesIO()
    image.save(file, kind, **options)
    return file.getvalue()


def png_header(width, height, rest=b""):
    """A PNG whose header claims a size, with hardly anything in it."""
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    chunks = [(b"IHDR", head), (b"IDAT", zlib.compress(rest)), (b"IEND", b"")]
    body = b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in chunks
    )
    return b"\x89PNG\r\n\x1a\n" + body


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "BMP", "WEBP", "JPEG"])
@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_kinds_of_pictures(kind, mode):
    options = {"lossless": True} if kind == "WEBP" else {"quality": 95} if kind == "JPEG" else {}
    picture = read_picture(saved(Image.fromarray(RAMP).convert(mode), kind, **options))
    assert picture.whole_px == (100, 80)
    assert np.abs(picture.grey.astype(int) - RAMP).max() <= (6 if kind == "JPEG" else 1)


def test_other_colours_and_depths():
    sixteen = Image.fromarray(RAMP.astype(np.uint16) * 200)
    assert read_picture(saved(sixteen, "PNG")).grey[10, 20] == 200 * 50
    assert read_picture(saved(sixteen, "TIFF")).grey[10, 20] == 200 * 50
    real = Image.fromarray(RAMP.astype(np.float32) / 7)
    assert read_picture(saved(real, "TIFF")).grey[10, 20] == pytest.approx(50 / 7)
    for mode in ("CMYK", "RGBA", "LA", "P", "1"):
        kind = "TIFF" if mode == "CMYK" else "PNG"
        grey = read_picture(saved(Image.fromarray(RAMP).convert("RGB").convert(mode), kind)).grey
        assert grey.shape == (80, 100) and np.ptp(grey) > 100
    assert read_picture(saved(Image.fromarray(RAMP).convert("CMYK"), "JPEG")).grey.shape == (80, 100)


def test_the_camera_s_note_of_its_orientation_is_kept():
    note = Image.Exif()
    note[0x0112] = 6  # turned a quarter
    picture = read_picture(saved(Image.fromarray(RAMP), "JPEG", exif=note, quality=95))
    assert picture.whole_px == (80, 100)
    assert abs(int(picture.grey[0, -1]) - int(RAMP[0, 0])) < 8


def test_a_part():
    content = saved(Image.fromarray(RAMP), "PNG")
    picture = read_picture(content, region_px=(5, 3, 70, 64))
    assert np.array_equal(picture.grey, RAMP[3:67, 5:75]) and picture.whole_px == (100, 80)
    for region in ((5, 3, 100, 64), (-1, 0, 70, 70), (0, 0, 10, 70), (0, 0, -5, -5)):
        with pytest.raises(SettingError):
            read_picture(content, region_px=region)


@pytest.mark.parametrize("size", [(10_000, 10_001), (60_000, 60_000), (2**31 - 1, 2**31 - 1), (200_000, 300)])
def test_pictures_of_too_many_pixels_are_refused_unopened(size):
    with pytest.raises(RecordingError, match="50 megapixels"):
        read_picture(png_header(*size))


def test_files_that_are_too_large_are_refused_unread(tmp_path, monkeypatch):
    monkeypatch.setattr(picture_file, "MOST_BYTES", 1000)
    file = tmp_path / "wall.png"
    file.write_bytes(b"x" * 2000)
    monkeypatch.setattr(type(file), "read_bytes", lambda self: pytest.fail("it was read"))
    with pytest.raises(RecordingError, match="has more than"):
        read_picture(file)


def test_small_animated_and_manifold_pictures():
    with pytest.raises(RecordingError, match="64 × 64"):
        read_picture(saved(Image.fromarray(RAMP[:40]), "PNG"))
    pages = [Image.fromarray(RAMP), Image.fromarray(RAMP.T.copy().reshape(80, 100))]
    with pytest.raises(RecordingError, match="several"):
        read_picture(saved(pages[0], "TIFF", save_all=True, append_images=pages[1:]))
    with pytest.raises(RecordingError, match="several"):
        read_picture(saved(pages[0].convert("RGB"), "WEBP", save_all=True, append_images=pages[1:]))


GOOD = {
    kind: saved(Image.fromarray(RAMP).convert("RGB"), kind) for kind in ("PNG", "JPEG", "TIFF", "WEBP", "BMP")
}


@pytest.mark.parametrize("kind", list(GOOD))
@pytest.mark.parametrize("share", [0.05, 0.4, 0.9])
def test_files_that_break_off(kind, share):
    with pytest.raises(RecordingError):
        read_picture(GOOD[kind][: int(share * len(GOOD[kind]))])


@pytest.mark.parametrize("kind", list(GOOD))
def test_damaged_files_are_refused_or_read_and_nothing_else(kind):
    rng = np.random.default_rng(4)
    for _ in range(60):
        content = bytearray(GOOD[kind])
        for place in rng.integers(0, len(content), 6):
            content[place] = rng.integers(0, 256)
        with contextlib.suppress(RecordingError, SettingError):
            assert read_picture(bytes(content)).grey.ndim == 2


@pytest.mark.parametrize(
    "content",
    [b"", b"<svg onload='x'/>", b"GIF89a" + bytes(50), b"\x00" * 500, "größe".encode() * 30, b"%PDF-1.4"],
)
def test_what_is_no_picture(content):
    with pytest.raises(RecordingError, match=r"no picture|damaged"):
        read_picture(content)


def test_pictures_that_are_not_there(tmp_path):
    for path in (tmp_path / "none.png", tmp_path, "a\0b.png"):
        with pytest.raises(RecordingError, match="cannot be read"):
            read_picture(path)


def test_values_that_are_no_numbers():
    values = RAMP.astype(np.float32)
    values[3, 3] = np.nan
    with pytest.raises(RecordingError, match="no numbers"):
        read_picture(saved(Image.fromarray(values), "TIFF"))
