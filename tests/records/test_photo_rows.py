"""Photographs of cuts: kept as they came, read again and again, and carried with their cut."""

import pytest

from shopmon.errors import SettingError
from tests.records.shop import Shop

JPEG = b"\xff\xd8\xff\xe0" + b"picture"


@pytest.fixture
def shop(archive):
    return Shop(archive)


@pytest.fixture
def cut_id(shop):
    return shop.cut(shop.mill("plum #3"), 10.0)


def test_a_photograph_and_what_was_read_from_it(shop, cut_id):
    archive = shop.archive
    photo_id = archive.add_cut_photo(cut_id, JPEG, "second pass")
    (photo,) = archive.cut_photos(cut_id)
    assert photo["id"] == photo_id and photo["note"] == "second pass" and photo["reading"] is None
    assert archive.photo_file(photo).read_bytes() == JPEG
    for verdict in ("turn", "chatter"):
        archive.add_photo_reading(archive.cut_photo(photo_id), {"um_per_pixel": 5.0}, {"verdict": verdict})
    (photo,) = archive.cut_photos(cut_id)
    assert photo["reading"] == {"question": {"um_per_pixel": 5.0}, "result": {"verdict": "chatter"}}
    archive.photo_file(photo).unlink()
    assert archive.photo_file(photo) is None and archive.cut_photo("nothing") is None


def test_what_is_no_picture_leaves_no_row(shop, cut_id):
    for content in (b"", b"<svg/>", b"GIF89a"):
        with pytest.raises(SettingError):
            shop.archive.add_cut_photo(cut_id, content)
    assert shop.archive.cut_photos(cut_id) == []
