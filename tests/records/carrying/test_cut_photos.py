"""Photographs of cuts travel with their cut, and with no other."""

from shopmon.records.carrying.packing import pack
from shopmon.records.carrying.unpacking import unpack
from tests.records.carrying.filled import PNG, fill, opened


def test_a_cut_takes_its_photographs_along_and_no_others(tmp_path):

    shop = fill(tmp_path / "data")
    archive = opened(shop.root)
    for cut_id in shop.cut_ids[:2]:
        photo_id = archive.add_cut_photo(cut_id, PNG, "the wall")
        archive.add_photo_reading(archive.cut_photo(photo_id), {"um_per_pixel": 5.0}, {"verdict": "turn"})
    archive.close()
    pack(shop.root, tmp_path / "one.zip", with_audio=False, only_cuts=[shop.cut_ids[0]])
    unpack(tmp_path / "one.zip", tmp_path / "new")
    there = opened(tmp_path / "new")
    (photo,) = there.cut_photos(shop.cut_ids[0])
    assert there.photo_file(photo).read_bytes() == PNG
    assert photo["reading"]["result"] == {"verdict": "turn"}
    assert there.cut_photos(shop.cut_ids[1]) == []
    assert len(list((tmp_path / "new" / "photos").glob("*"))) == 1
    there.close()
