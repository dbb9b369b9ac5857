"""Pictures of invented walls, and of one real wall, put to the product as a person would."""

import numpy as np
import pytest

from shopmon.capture.picture_file import Picture, read_picture
from shopmon.cutting.surface.marks import WallCut
from shopmon.errors import SettingError
from shopmon.service.walls.check import (
    SurfaceQuestion,
    check_picture,
    check_spacing,
    expect,
    heard_tones,
)
from tests.bench.bench_surface import ask, right
from tests.surfaces.drawing import draw

CUT = WallCut(rpm=12000, flutes=3, feed_mm_min=1800)
CASES = 60  # three hundred in tests/bench/bench_surface.py


def test_sixty_walls():
    """Noise, uneven light, glare, blur, turned pictures: the period within 1 % and the right name."""
    good = [all(right(case, ask(case, told_direction=True))) for case in map(draw, range(3000, 3000 + CASES))]
    assert sum(good) >= 0.95 * CASES


def joints(row):
    """Count light joints that one row of a picture crosses: where it first rises above half of its range."""
    smooth = np.convolve(row, np.ones(3) / 3, "same")
    over = smooth > (np.median(smooth) + smooth.max()) / 2
    return np.flatnonzero(over[1:] & ~over[:-1])


def test_a_real_wall():
    """The photograph of bricks that comes with scikit-image, no rights reserved (CC0), seen at a slant.

    An independent count: the courses run upright, and their light joints can be counted along a row of
    pixels, 14 or 15 of them; the mean distance between the first and the last is the period at that height.
    """
    skimage_data = pytest.importorskip("skimage.data")
    picture = skimage_data.brick()
    strip = picture[190:310].astype(float)
    places = [joints(row) for row in strip[::4]]
    counted = np.median([(each[-1] - each[0]) / (each.size - 1) for each in places if 13 <= each.size <= 15])
    assert 33 < counted < 38
    told = check_picture(Picture(grey=strip, whole_px=(512, 120)), SurfaceQuestion(um_per_pixel=1000))
    assert told["verdict"] == "not-named" and told["certainty"] > 0.99
    assert told["spacing_mm"] == pytest.approx(counted, rel=0.02)
    assert abs(told["marks"][0]["direction_deg"]) < 5


def test_a_real_page_of_print():
    """The scanned page that comes with scikit-image, lit unevenly: its lines are as even as marks of teeth.

    An independent count: five lines lie one below the other where the ink of a row is most; the mean distance
    from the first to the last of them is the period.
    """
    skimage_data = pytest.importorskip("skimage.data")
    picture = skimage_data.page().astype(float)
    ink = (picture.max() - picture).sum(axis=1)
    ink -= np.convolve(ink, np.ones(18) / 18, "same")
    rows = [row for row in range(45, 135) if ink[row] == ink[row - 8 : row + 9].max() and ink[row] > 0]
    counted = np.diff(rows).mean()
    assert len(rows) == 5 and 17.5 < counted < 18.5
    told = check_picture(Picture(grey=picture, whole_px=(384, 191)), SurfaceQuestion(um_per_pixel=1000))
    assert told["certainty"] > 0.99 and told["spacing_mm"] == pytest.approx(counted, rel=0.02)
    assert abs(abs(told["marks"][0]["direction_deg"]) - 90) < 3


@pytest.mark.parametrize("name", ["camera", "moon", "clock"])
def test_photographs_without_marks_show_none(name):
    skimage_data = pytest.importorskip("skimage.data")
    picture = getattr(skimage_data, name)().astype(float)
    question = SurfaceQuestion(um_per_pixel=10)
    told = check_picture(Picture(grey=picture, whole_px=picture.shape[::-1]), question)
    assert told["verdict"] == "cannot-tell"


def test_the_rule_in_the_picture_is_mentioned():
    column = np.arange(400)[None, :]
    picture = 120 + 60 * (column % 20 < 5) + np.random.default_rng(0).normal(size=(200, 400))
    told = check_picture(Picture(grey=picture, whole_px=(400, 200)), SurfaceQuestion(um_per_pixel=50))
    assert "ruler" in [notice["code"] for notice in told["notices"]]


def test_a_spacing_by_hand():
    told = check_spacing(0.15, 0.002, SurfaceQuestion(cut=CUT))
    assert told["verdict"] == "turn" and "runout" in told["text"] and told["certainty"] is None
    told = check_spacing(0.24, 0.004, SurfaceQuestion(cut=CUT))
    assert told["verdict"] == "unheard" and "475" in told["text"]
    told = check_spacing(0.24, 0.004, SurfaceQuestion())
    assert told["verdict"] == "not-named" and "table feed" in told["text"]


def test_inches_are_spoken_where_the_shop_does():
    told = check_spacing(0.15, 0.002, SurfaceQuestion(cut=CUT, units="inch"))
    assert "0.00591\u00a0in" in told["text"] and "mm" not in told["text"]


def test_what_to_expect():
    told = expect(SurfaceQuestion(cut=CUT, heard=heard_tones([1432.6])))["expected"]
    spacings = [(each["kind"], each["spacing_mm"]) for each in told]
    assert spacings[:3] == [
        ("tooth", pytest.approx(0.05)),
        ("turn", pytest.approx(0.15)),
        ("chatter", pytest.approx(30 / 232.6)),
    ]
    assert "in step" in expect(SurfaceQuestion(cut=CUT, heard=heard_tones([1200.0])))["expected"][2]["text"]
    assert expect(SurfaceQuestion())["expected"] == []


def test_flat_noise_is_not_told():
    noise = np.random.default_rng(1).normal(100, 20, (300, 400))
    told = check_picture(Picture(grey=noise, whole_px=(400, 300)), SurfaceQuestion(um_per_pixel=5, cut=CUT))
    assert told["verdict"] == "cannot-tell" and told["text"].startswith("Cannot tell")
    assert told["marks"] == [] and told["spacing_mm"] is None


@pytest.mark.parametrize(
    "bad",
    [
        {"um_per_pixel": 0.0},
        {"um_per_pixel": float("nan")},
        {"um_per_pixel": 1e9},
        {"scale_share": 0.0},
        {"feed_direction_deg": float("inf")},
        {"heard": heard_tones([500.0] * 9)},
    ],
)
def test_questions_that_make_no_sense(bad):
    with pytest.raises(SettingError):
        SurfaceQuestion(**{"um_per_pixel": 5.0} | bad)


def test_no_scale_and_impossible_spacings():
    with pytest.raises(SettingError, match="scale"):
        check_picture(read_picture(_png()), SurfaceQuestion())
    for spacing, spread in ((0.0, 0.0), (float("nan"), 0.0), (1.0, 2.0), (1.0, -1.0)):
        with pytest.raises(SettingError):
            check_spacing(spacing, spread, SurfaceQuestion(cut=CUT))


def _png():
    import io

    from PIL import Image

    file = io.BytesIO()
    Image.fromarray(np.zeros((80, 80), np.uint8)).save(file, "PNG")
    return file.getvalue()
