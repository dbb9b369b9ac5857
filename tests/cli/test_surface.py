"""``shopmon surface`` from files to words and JSON."""

import json

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from shopmon.cli.surface import command
from shopmon.errors import RecordingError, SettingError
from tests.surfaces.walls import Camera, Wall, photograph

CUT = ("--rpm", 12000, "--flutes", 3, "--feed", 1800)


def run(*words):
    done = CliRunner().invoke(command, [str(word) for word in words], catch_exceptions=True)
    if done.exception and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done.output


@pytest.fixture(scope="module")
def walls(tmp_path_factory):
    """Three photographs: tooth marks, runout, chatter."""
    made = {
        "tooth": Wall(),
        "turn": Wall(offsets_um=(5.0, 0.0, -1.0)),
        "chatter": Wall(chatter_hz=1432.6, chatter_um=0.4),
    }
    folder = tmp_path_factory.mktemp("walls")
    for name, wall in made.items():
        picture = photograph(wall, Camera(um_per_px=5.0, turned_deg=12, uneven=0.4, blur_px=0.7, glare=0.4))
        Image.fromarray(picture.astype(np.uint8)).save(folder / f"{name}.jpg", quality=88)
    return folder


@pytest.mark.parametrize(("name", "spacing"), [("tooth", 0.05), ("turn", 0.15), ("chatter", 30 / 232.6)])
def test_what_made_the_marks(walls, name, spacing):
    words = (walls / f"{name}.jpg", "--scale", 5, *CUT, "--chatter-hz", 1432.6)
    told = json.loads(run(*words, "--json", "-"))
    assert told["schema"] == "shopmon.surface/1" and told["verdict"] == name
    assert told["spacing_mm"] == pytest.approx(spacing, rel=0.01)
    assert abs(told["spacing_mm"] - spacing) < 2.5 * told["spacing_u_mm"]
    assert told["picture"]["width_px"] == 560 and len(told["expected"]) == 6
    text = run(*words)
    assert told["text"] in text and "To be expected" in text


def test_the_slant_is_told_where_the_tool_is_known(walls):
    text = run(*CUT, "--chatter-hz", 1432.6, "--diameter", 10, "--helix", 35)
    assert "slanted by" in text


def test_a_part_of_the_picture_and_a_spacing_and_inches(walls, tmp_path):
    told = tmp_path / "told.json"
    run(walls / "turn.jpg", "--scale", 5, "--region", "100,50,300,300", *CUT, "--json", told)
    assert json.loads(told.read_text())["picture"]["region_px"] == [100, 50, 300, 300]
    assert "runout" in run("--spacing", 0.15, *CUT)


def test_bad_input(walls, tmp_path):
    wall = walls / "turn.jpg"
    noise = tmp_path / "no.jpg"
    noise.write_text("no picture")
    for words in (
        (wall,),
        (),
        (wall, "--scale", -3),
        (wall, "--scale", 5, "--spacing", 0.1),
        (wall, "--scale", 5, "--region", "1,2,3"),
        (wall, "--scale", 5, "--region", "0,0,9000,100"),
        (wall, "--scale", 5, "--rpm", -5, "--flutes", 3, "--feed", 100),
        (wall, "--scale", 5, *CUT, "--chatter-hz", "nan"),
        ("--spacing", 0, *CUT),
        ("--region", "0,0,80,80", "--spacing", 1),
    ):
        with pytest.raises(SettingError):
            run(*words)
    for words in ((noise, "--scale", 5), (tmp_path / "none.png", "--scale", 5), (tmp_path, "--scale", 5)):
        with pytest.raises(RecordingError):
            run(*words)
