"""``shopmon mills roughness`` as a person types it."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from shopmon.cli import main
from shopmon.cli.mills import command


@pytest.fixture
def wall(tmp_path):
    """A profile of feed marks 0.2 mm wide and 4 µm high, 6 mm long."""
    place = np.arange(6000) * 0.001
    heights = 4 * (2 * (place / 0.2 % 1) - 1) ** 2
    path = tmp_path / "wall.csv"
    path.write_text("\n".join(f"{x:.3f},{z:.5f}" for x, z in zip(place, heights, strict=True)))
    return path


def test_a_profile_is_measured(wall):
    said = CliRunner().invoke(command, ["roughness", str(wall), "--theory-um", "2"]).output
    assert "Ra 1.0" in said and "RSm 0.2 mm" in said
    assert "By ISO 21920: cut-off 0.8 mm, λs 2.5 µm" not in said  # 1 µm steps are too coarse for λs
    assert "short-wave filter" in said and "Rz is 2 times what geometry alone leaves" in said


def test_as_json(wall):
    asked = ["roughness", str(wall), "--json", "-", "--standard", "ISO 4287"]
    found = json.loads(CliRunner().invoke(command, asked).output)
    assert found["schema"] == "shopmon.roughness/1" and found["standard"] == "ISO 4287"
    assert found["Ra_um"] == pytest.approx(0.2566 * 4, rel=0.01)
    assert found["periodic"] and found["sections"] == 5


@pytest.mark.parametrize(
    ("content", "extra"),
    [
        ("", []),
        ("1\n2\n3", ["--spacing-mm", "0.1"]),
        ("0.1\n" * 200, []),
        ("0.1\n" * 200, ["--spacing-mm", "-1"]),
    ],
)
def test_bad_input_says_what_is_wrong(tmp_path, capsys, content, extra):
    path = tmp_path / "bad.csv"
    path.write_text(content)
    assert main(["mills", "roughness", str(path), *extra]) in (1, 2)
    assert len(capsys.readouterr().err.strip().splitlines()) == 1
