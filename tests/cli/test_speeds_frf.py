"""``shopmon speeds --frf``: limits from a measured receptance, and files that cannot be one."""

import json

import numpy as np
import pytest

from shopmon.cli import main
from shopmon.cutting.nouns import FrequencyResponse, Mode
from shopmon.records.response_file import write_response
from shopmon.signals.tap.frequency_response import MeasuredResponse

MODE = Mode(axis="x", frequency_hz=900.0, damping_ratio=0.02, stiffness_n_per_m=9e6)
CUT = ["--flutes", "4", "--kt", "600", "--kr", "0.3", "--diameter", "10", "--milling", "slot"]


def run(capsys, *words):
    status = main(["speeds", *CUT, *words])
    captured = capsys.readouterr()
    return status, captured.out, captured.err


def table(path, step_hz=2.0, separator=",", heading="frequency_hz,real,imag\n", last_hz=3000.0, decimal="."):
    """Write the receptance of one mode as a table."""
    hz = np.arange(100.0, last_hz, step_hz)
    values = FrequencyResponse.of_modes((MODE,), "x", hz).receptance_m_per_n
    rows = zip(hz, values.real, values.imag, strict=True)
    lines = [separator.join(f"{value:.9g}" for value in row) for row in rows]
    path.write_text(heading + "\n".join(lines).replace(".", decimal) + "\n")
    return f"xx:{path}"


def test_a_measured_mode_gives_the_limits_of_the_same_mode_in_closed_form(capsys, tmp_path):
    name, speeds = table(tmp_path / "x.csv"), ["--from", "3000", "--to", "15000", "--step", "250"]
    status, out, err = run(capsys, "--frf", name, *speeds, "--json", "-")
    assert status == 0, err
    found = json.loads(out)
    limits = [row["ap_limit_mm"] for row in found["limits"] if row["ap_limit_mm"]]
    # Altintas, Budak 1995: ap = 2π/(N Kt αxx Re G); in a slot αxx = −π Kr, and least Re G = −1/(4kζ(1+ζ))
    least = 8 * 9e6 * 0.02 * 1.02 / (4 * 600e6 * 0.3) * 1e3
    assert min(limits) == pytest.approx(least, rel=0.03)
    assert "two to four times" in found["caution"]
    assert found["advice"] == []


@pytest.mark.parametrize(
    ("separator", "decimal", "heading"),
    [(",", ".", ""), (";", ",", "Hz;Re;Im\n"), ("\t", ".", "# receptance, m/N\n"), (" ", ".", "\ufeff")],
)
def test_tables_as_programs_write_them_are_read(capsys, tmp_path, separator, decimal, heading):
    name = table(tmp_path / "x.csv", separator=separator, decimal=decimal, heading=heading)
    status, out, err = run(capsys, "--frf", name, "--at", "6000,0.1", "--at", "6000,20")
    assert status == 0, err
    assert "quiet" in out and "chatter at" in out


def test_a_universal_file_gives_the_same_as_the_table(capsys, tmp_path):
    hz = np.arange(100.0, 3000.0, 2.0)
    values = FrequencyResponse.of_modes((MODE,), "x", hz).receptance_m_per_n
    unsaid = {"coherence": None, "force_db": np.zeros(hz.size), "added_damping_rate": 0.0, "hits": 1}
    measured = MeasuredResponse(frequency_hz=hz, receptance=values, **unsaid)
    write_response(tmp_path / "x.uff", measured, "x", 1.0, 5000.0)
    asked = ["--from", "3000", "--to", "9000", "--step", "500", "--json", "-"]
    told = [
        json.loads(run(capsys, "--frf", name, *asked)[1])["limits"]
        for name in (table(tmp_path / "x.csv"), f"xx:{tmp_path / 'x.uff'}")
    ]
    depths = [[row["ap_limit_mm"] for row in rows] for rows in told]
    assert depths[0] == pytest.approx(depths[1], rel=1e-3)
    (tmp_path / "broken.uff").write_text("nothing")
    status, _, err = run(capsys, "--frf", f"xx:{tmp_path / 'broken.uff'}", "--at", "6000,1")
    assert status == 1
    assert "no frequency response" in err


def broken(path, number, line):
    """Put another line in place of one."""
    lines = path.read_text().splitlines()
    lines[number] = line
    path.write_text("\n".join(lines))


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("300.0,nan,0", "not finite"),
        ("300.0,inf,0", "not finite"),
        ("300.0,1e-8", "2 numbers instead of 3"),
        ("300.0,a,b", "line 51"),
        ("1.0,1e-8,0", "does not ascend"),
    ],
)
def test_a_line_that_cannot_be_is_named(capsys, tmp_path, line, said):
    name = table(tmp_path / "x.csv")
    broken(tmp_path / "x.csv", 50, line)
    status, out, err = run(capsys, "--frf", name, "--at", "6000,1")
    assert (status, out) == (1, "")
    assert said in err
    assert len(err.strip().splitlines()) == 1


def test_a_response_too_coarse_or_too_short_for_its_mode_is_refused(capsys, tmp_path):
    for options in ({"step_hz": 60.0}, {"last_hz": 902.0}):
        status, _, err = run(capsys, "--frf", table(tmp_path / "x.csv", **options), "--at", "6000,1")
        assert status == 2
        assert "mode" in err


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"", "no numbers"), (b"\xff\xfe\x00\x01", "no numbers"), (b"frequency_hz,real,imag\n", "no numbers")],
)
def test_files_that_are_no_table_are_refused(capsys, tmp_path, content, said):
    path = tmp_path / "x.csv"
    path.write_bytes(content)
    status, _, err = run(capsys, "--frf", f"xx:{path}", "--at", "6000,1")
    assert status == 1
    assert said in err


def test_a_response_that_is_not_there(capsys, tmp_path):
    assert run(capsys, "--frf", f"xx:{tmp_path / 'nowhere.csv'}", "--at", "6000,1")[0] == 1


def test_what_does_not_go_together_or_is_missing_is_said(capsys, tmp_path):
    name = table(tmp_path / "x.csv")
    wrong = (
        ["--frf", name],
        ["--frf", "zz:x.csv", "--at", "6000,1"],
        ["--frf", name, "--frf", name, "--at", "6000,1"],
        ["--frf", name, "--mode", "x:900:0.02:9e6", "--at", "6000,1"],
        ["--frf", name, "--chatter-hz", "900", "--rpm", "6000"],
    )
    for words in wrong:
        status, out, err = run(capsys, *words)
        assert (status, out) == (2, ""), words
        assert err


def test_an_earlier_tone_is_read_and_goes_with_a_tone(capsys):
    tone = ["--chatter-hz", "1432.6", "--rpm", "12000", "--max-rpm", "18000"]
    status, out, err = run(capsys, *tone, "--earlier", "1390,10000")
    assert status == 0, err
    assert "1390 Hz at 10000 rpm" in " ".join(out.split())
    bad = [[*tone, "--earlier", text] for text in ("1390", "1390,0", "nan,10000")]
    for words in (*bad, ["--earlier", "1390,10000", "--at", "6000,1"]):
        assert run(capsys, *words)[0] == 2


@pytest.mark.parametrize(("factor", "said"), [(1e6, "m/N"), (1e-9, "m/N")])
def test_a_response_in_another_unit_is_refused(capsys, tmp_path, factor, said):
    hz = np.arange(100.0, 3000.0, 2.0)
    values = factor * FrequencyResponse.of_modes((MODE,), "x", hz).receptance_m_per_n
    rows = zip(hz, values.real, values.imag, strict=True)
    (tmp_path / "x.csv").write_text("\n".join(f"{f},{real:.9g},{imag:.9g}" for f, real, imag in rows))
    status, _, err = run(capsys, "--frf", f"xx:{tmp_path / 'x.csv'}", "--from", "3000", "--to", "6000")
    assert status != 0 and said in err


def test_a_tip_that_runs_ahead_of_the_force_is_refused(capsys, tmp_path):
    hz = np.arange(100.0, 3000.0, 2.0)
    values = np.conj(FrequencyResponse.of_modes((MODE,), "x", hz).receptance_m_per_n)
    rows = zip(hz, values.real, values.imag, strict=True)
    (tmp_path / "x.csv").write_text("\n".join(f"{f},{real:.9g},{imag:.9g}" for f, real, imag in rows))
    status, _, err = run(capsys, "--frf", f"xx:{tmp_path / 'x.csv'}", "--from", "3000", "--to", "6000")
    assert status != 0 and "sign" in err


def test_a_limit_of_nothing_is_told_as_nothing():
    from shopmon.cli.speeds_text import _limits

    rows = [{"rpm": 3000.0, "ap_limit_mm": 0.0}, {"rpm": 6000.0, "ap_limit_mm": None}]
    first, second = _limits(rows, 30.0)
    assert "0.00 mm" in first and "over 30 mm" in second
    assert "0.00 mm" in _limits(rows[:1], 30.0)[0]
