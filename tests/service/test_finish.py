"""The finish of a profile beside the pass that made it, as pages and the command line tell it."""

import numpy as np
import pytest

from shopmon.cutting.finishing.marks import wall_um
from shopmon.errors import RecordingError, SettingError
from shopmon.service.mills.finish import Pass, in_words, profile_finish, upload_finish

PASS = Pass(surface="wall", feed_mm_min=1800.0, rpm=6000.0, flutes=3, diameter_mm=6.0)


def wall(width_mm: float, height_um: float) -> bytes:
    """A profile of marks so wide and high, 8 mm long, as a table."""
    place = np.arange(8000) * 0.001
    heights = height_um * (2 * (place / width_mm % 1) - 1) ** 2
    return "\n".join(f"{x:.3f},{z:.5f}" for x, z in zip(place, heights, strict=True)).encode()


def test_a_wall_is_held_against_the_marks_of_its_pass():
    theory = wall_um(0.1, 3, 6.0, "climb")
    found = upload_finish("wall.csv", wall(0.1, 2 * theory), made_by=PASS)
    assert found["theory_um"] == pytest.approx(theory)
    # the roughness filter takes a little of the height away, and the points cannot be taken shorter
    assert found["times_theory"] == pytest.approx(2.0, rel=0.1)
    said = " ".join(in_words(found))
    assert "By ISO 21920: cut-off 0." in said and "times what geometry alone leaves, about as usual" in said
    assert "Marks every 0.1 mm: every tooth leaves one." in said


def test_one_mark_a_turn_is_runout():
    found = upload_finish("wall.csv", wall(0.3, 4.0), made_by=PASS, standard="ISO 4287")
    assert found["standard"] == "ISO 4287"
    assert "one a turn: one tooth makes the surface (runout)" in " ".join(in_words(found))


def test_a_floor_follows_from_the_corner():
    floor = Pass(surface="floor", feed_mm_min=1800.0, rpm=6000.0, flutes=3, corner_radius_mm=0.5)
    assert floor.marks_um() == pytest.approx(1000 * 0.1**2 / (8 * 0.5), rel=0.01)


@pytest.mark.parametrize(
    ("name", "content", "how", "said"),
    [
        ("wall", b"1\n2", {}, "no ending"),
        ("wall.exe", b"1\n2", {}, "no kind of file"),
        ("wall.sdf", b"aISO-1.0", {}, "no SDF file"),
        ("wall.x3p", b"PK not really", {}, "no X3P"),
        ("wall.csv", b"\x00\x01\x02", {}, ""),
        ("wall.csv", b"0.1\n" * 200, {}, "how far apart"),
        ("wall.csv", b"0.1\n" * 200, {"spacing_mm": -1.0}, "The spacing of the points (mm) must be"),
        ("wall.csv", b"0,1;0,2\n" * 3, {}, ""),
    ],
)
def test_what_is_no_profile_is_said(name, content, how, said):
    with pytest.raises((RecordingError, SettingError)) as caught:
        upload_finish(name, content, **how)
    assert said in caught.value.text and "_mm" not in caught.value.text and "_um" not in caught.value.text


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"surface": "ceiling"}, "a wall or a floor"),
        ({"surface": "floor"}, "corner radius is not known"),
        ({"diameter_mm": None}, "diameter is not known"),
        ({"feed_mm_min": 0.0}, "The feed must be"),
        ({"rpm": float("nan")}, "The speed must be"),
    ],
)
def test_a_pass_that_tells_no_marks_is_said(change, said):
    asked = Pass(**{**vars(PASS), **change})
    with pytest.raises(SettingError, match=said):
        asked.marks_um()


def test_theory_alone_is_a_number_of_the_person(tmp_path):
    path = tmp_path / "wall.csv"
    path.write_bytes(wall(0.2, 4.0))
    assert profile_finish(path, theory_um=2.0)["times_theory"] == pytest.approx(2.0, rel=0.05)
    assert "times_theory" not in profile_finish(path)
