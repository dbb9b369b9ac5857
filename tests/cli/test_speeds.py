"""``shopmon speeds``: the JSON of the contract, what it tells a person, and bad input."""

import json
import math

import pytest

from shopmon.cli import main
from shopmon.cli.speeds_text import as_text

BENCH = [
    "--mode", "x:922:0.011:1.34005e6", "--flutes", "2", "--kt", "600", "--kr", "0.3333", "--diameter", "10",
    "--ae", "0.5", "--milling", "climb",
]  # fmt: skip
ADVICE = {
    "action", "rpm", "command_rpm", "override_percent", "feed_factor", "lobe", "probability_quiet", "reason",
    "caution",
}  # fmt: skip


def run(capsys, *words):
    status = main(["speeds", *words])
    captured = capsys.readouterr()
    return status, captured.out, captured.err


def asked(capsys, *words):
    status, out, err = run(capsys, *words, "--json", "-")
    assert status == 0, err
    return json.loads(out)


def test_the_example_of_the_contract(capsys):
    found = asked(capsys, *BENCH, "--at", "12000,4.0", "--at", "18000,4.0")
    assert found["schema"] == "shopmon.speeds/1"
    assert "limits" not in found
    first, second = found["points"]
    # Insperger & Stépán 2004, see tests/published
    assert first["spectral_radius"] == pytest.approx(1.212, abs=0.002)
    assert (first["verdict"], first["kind"]) == ("chatter", "quasi-periodic")
    assert first["chatter_hz"] == pytest.approx(899.7, abs=0.1)
    assert (second["kind"], second["chatter_hz"]) == ("period-doubling", 900.0)
    assert found["advice"]
    for entry in found["advice"]:
        assert set(entry) == ADVICE
        assert entry["action"] in ("speed", "less-depth", "less-stickout", "other-tool", "none")
        assert entry["rpm"] <= 12000  # no limit is known: nothing above the present speed


def test_advice_from_one_tone(capsys):
    tone = ["--chatter-hz", "1432.6", "--rpm", "12000", "--flutes", "3"]
    found = asked(capsys, *tone, "--max-rpm", "18000")
    assert found["schema"] == "shopmon.speeds/1"
    assert found["points"] == []
    for entry in found["advice"]:
        assert set(entry) == ADVICE
        assert entry["rpm"] is None or entry["rpm"] <= 18000
    assert any(entry["action"] == "speed" for entry in found["advice"])
    held = asked(capsys, *tone)["advice"]
    assert all(entry["rpm"] is None or entry["rpm"] <= 12000 for entry in held)
    status, out, _ = run(capsys, *tone, "--pitch", "110,120,130")
    assert status == 0
    assert "pitch" in out
    assert "Program" not in out


WALL = [
    "--mode", "y:1800:0.03:2.5e6", "--mode", "x:1900:0.03:2.5e6", "--flutes", "3", "--material", "7075",
    "--diameter", "6", "--ae", "0.15", "--helix", "45", "--rpm", "9000", "--wall", "20", "--stickout", "26",
    "--fz", "0.04",
]  # fmt: skip


def test_a_wall_in_one_pass_or_several(capsys):
    wall = asked(capsys, *WALL)["wall"]
    assert [row["passes"] for row in wall["plans"]] == [1, 2, 3, 4]
    one, *more = wall["plans"]
    assert one["step_um"] == 0 < min(row["step_um"] for row in more)
    assert one["left_um"] > more[-1]["left_um"]
    # fz²/(4D) and (N fz)²/(4D)
    assert wall["feed_marks_um"] == pytest.approx(1000 * 0.04**2 / 24, rel=0.03)
    assert wall["feed_marks_one_tooth_um"] == pytest.approx(1000 * 0.12**2 / 24, rel=0.01)
    assert "A wall 20 mm high at 9000 rpm" in as_text({"points": [], "advice": [], "wall": wall}, None, 20.0)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        (("--wall", "30"), "higher than the stickout"),
        (("--milling", "slot"), "two walls"),
        (("--fz", "0"), "--fz"),
    ],
)
def test_a_wall_that_cannot_be_is_refused(capsys, changes, why):
    status, out, err = run(capsys, *WALL, *changes)
    assert (status, out) == (2, "")
    assert why in err


def test_limits_over_a_range(capsys):
    found = asked(capsys, *BENCH, "--from", "8000", "--to", "10000", "--step", "500", "--deepest", "20")
    assert [row["rpm"] for row in found["limits"]] == [8000.0, 8500.0, 9000.0, 9500.0, 10000.0]
    assert found["limits"][0]["ap_limit_mm"] == pytest.approx(2.163, abs=0.005)  # same source
    assert found["limits"][-1]["ap_limit_mm"] == pytest.approx(4.091, abs=0.005)
    assert found["points"] == []


def test_a_depth_that_is_never_reached_is_null(capsys):
    found = asked(capsys, *BENCH, "--from", "16000", "--to", "16000", "--step", "1", "--deepest", "0.5")
    assert found["limits"] == [{"rpm": 16000.0, "ap_limit_mm": None}]


def test_limits_of_the_machine_hold(capsys):
    found = asked(capsys, *BENCH, "--at", "12000,4.0", "--max-rpm", "18000", "--min-rpm", "11000")
    speeds = [entry["rpm"] for entry in found["advice"] if entry["action"] == "speed"]
    assert speeds
    assert all(11000 <= rpm <= 18000 for rpm in speeds)
    assert max(speeds) > 12000
    tool = asked(capsys, *BENCH, "--at", "12000,4.0", "--max-rpm", "18000", "--tool-rpm", "13000")
    assert all(entry["rpm"] <= 13000 for entry in tool["advice"])


def test_material_helix_and_pitch(capsys):
    tool = [
        "--mode", "y:1800:0.03:9e6", "--flutes", "3", "--diameter", "8", "--ae", "1", "--material", "7075",
    ]  # fmt: skip
    radii = [
        asked(capsys, *tool, "--at", "9000,3", *more)["points"][0]["spectral_radius"]
        for more in ([], ["--helix", "45"], ["--pitch", "110,120,130"], ["--kr", "0.6"])
    ]
    assert len({round(radius, 3) for radius in radii}) == 4


def test_told_to_a_person(capsys):
    status, out, _ = run(
        capsys, *BENCH, "--helix", "45", "--at", "12000,4.0", "--max-rpm", "18000",
        "--from", "9000", "--to", "9400", "--step", "200",
    )  # fmt: skip
    assert status == 0
    assert "chatter" in out
    assert "Smooth depths" in out
    assert "Program" in out
    assert "no safety device" in out
    assert max(len(line) for line in out.splitlines()) <= 110
    assert not any(word in out for word in ("null", "None", "nan"))


def test_a_quiet_cut_is_left_as_it_is(capsys):
    status, out, _ = run(capsys, *BENCH, "--at", "12000,0.1")
    assert status == 0
    assert "Leave the cut as it is" in out
    assert "Program" not in out


def test_json_to_a_file(capsys, tmp_path):
    target = tmp_path / "speeds.json"
    assert run(capsys, *BENCH, "--at", "12000,4.0", "--json", str(target))[0] == 0
    assert json.loads(target.read_text(encoding="utf-8"))["points"]


def changed(**changes):
    """The benchmark's options with some changed, taken out (None) or added."""
    options = dict(zip(BENCH[::2], BENCH[1::2], strict=True)) | {"--at": "12000,4.0"}
    options |= {f"--{name.replace('_', '-')}": value for name, value in changes.items()}
    return [word for name, value in options.items() if value is not None for word in (name, value)]


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"mode": None}, "No mode"),
        ({"mode": "x:922:-0.011:1e6"}, "damping_ratio"),
        ({"mode": "x:922:0.011:0"}, "stiffness"),
        ({"mode": "x:nan:0.011:1e6"}, "frequency_hz"),
        ({"mode": "z:922:0.011:1e6"}, "axis"),
        ({"mode": "x:922"}, "not a mode"),
        ({"mode": "x:1e9:0.011:1e6"}, "frequency_hz"),
        ({"mode": "x:9e4:0.011:1e6", "at": "100,1"}, "too often"),
        ({"flutes": "0"}, "flutes"),
        ({"flutes": None}, "flutes"),
        ({"ae": "12"}, "more than the diameter"),
        ({"ae": None}, "--ae"),
        ({"diameter": "nan"}, "--diameter"),
        ({"kt": "-600"}, "kt"),
        ({"kt": None}, "force"),
        ({"material": "cheese"}, "cheese"),
        ({"helix": "89"}, "helix"),
        ({"pitch": "100,200"}, "pitch"),
        ({"pitch": "a,b"}, "--pitch"),
        ({"at": "12000"}, "--at"),
        ({"at": "12000,-1"}, "--at"),
        ({"at": "12000,1e9"}, "ap_mm"),
        ({"at": "1e12,1"}, "rpm"),
        ({"at": None}, "nothing to judge"),
        ({"from": "8000"}, "--from and --to"),
        ({"from": "9000", "to": "8000"}, "no speeds"),
        ({"from": "8000", "to": "90000", "step": "1"}, "too many"),
        ({"from": "8000", "to": "9000", "step": "0"}, "--step"),
        ({"max_rpm": "-1"}, "--max-rpm"),
        ({"min_rpm": "20000", "max_rpm": "15000"}, "empty"),
        ({"chatter_hz": "900"}, "goes without"),
        ({"chatter_hz": "-900", "mode": None, "at": None}, "chatter frequency"),
        ({"deepest": "1e9", "from": "8000", "to": "9000"}, "ap_mm"),
    ],
)
def test_bad_input_is_refused_in_one_line(capsys, changes, why):
    status, out, err = run(capsys, *changed(**changes))
    assert status == 2
    assert out == ""
    assert why in err
    assert "Traceback" not in err
    assert err.count("\n") == 1


def test_every_number_is_finite(capsys):
    found = asked(capsys, *BENCH, "--at", "12000,4.0", "--from", "8000", "--to", "9000", "--step", "500")
    numbers = [value for row in found["limits"] + found["points"] for value in row.values()]
    assert all(math.isfinite(value) for value in numbers if isinstance(value, float))
