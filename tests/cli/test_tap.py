"""``shopmon tap`` as a person types it."""

import json

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from shopmon.capture.recording import RecordingSource
from shopmon.cli.speeds import command as speeds
from shopmon.cli.tap import command
from shopmon.errors import SettingError, ShopmonError
from tests.dashboards.fake_checks import RATE as FAKE_RATE
from tests.dashboards.fake_checks import hits
from tests.hits import RATE, taps

MODES = [(1450.0, 0.03, 8e6)]


def run(*words):
    done = CliRunner().invoke(command, [str(word) for word in words])
    if isinstance(done.exception, ShopmonError):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done.output


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    file = tmp_path_factory.mktemp("tap") / "hits.npy"
    np.save(file, np.array(taps(MODES)))
    return file


def test_modes_in_words_and_as_options(table):
    text = run(table, "--rate", RATE, "--force", 1, "--response", 2, "--axis", "y", "--record", 0.45)
    assert text.splitlines()[0].lstrip(" !").startswith("Spindle stopped and disabled")
    assert "5 hits, 5 of them clean, axis y" in text
    assert "--mode y:1450.0:0.03:8" in text


def test_pounds_and_g(table, tmp_path):
    force, response = np.load(table)
    np.save(tmp_path / "other.npy", np.array([force / 4.4482216152605, response / 9.80665]))
    words = ("--rate", RATE, "--force", 1, "--response", 2, "--record", 0.45, "--json", "-")
    plain = json.loads(run(table, *words))
    other = json.loads(run(tmp_path / "other.npy", *words, "--force-unit", "lbf", "--unit", "g"))
    assert other["modes"][0]["stiffness_n_per_m"] == pytest.approx(plain["modes"][0]["stiffness_n_per_m"])


def test_a_stereo_recording_with_full_scales(table, tmp_path):
    force, response = np.load(table)
    scales = 250.0, 1.2 * np.abs(response).max()
    soundfile.write(
        tmp_path / "hits.wav",
        np.array([force / scales[0], response / scales[1]]).T,
        int(RATE),
        subtype="PCM_24",
    )
    words = (tmp_path / "hits.wav", "--force", 1, "--response", 2, "--record", 0.45)
    result = json.loads(
        run(*words, "--force-full-scale", scales[0], "--full-scale", scales[1], "--json", "-")
    )
    assert result["modes"][0]["stiffness_n_per_m"] == pytest.approx(8e6, rel=0.03)
    with pytest.raises(ShopmonError):
        run(*words)


def test_without_a_hammer(table):
    text = run(table, "--rate", RATE, "--response", 2, "--record", 0.45)
    assert "N/µm" not in text and "Without the force" in text
    assert "1450" in text


def test_export_and_import(table, tmp_path):
    file = tmp_path / "tip.uff"
    words = ("--rate", RATE, "--force", 1, "--response", 2, "--record", 0.45, "--uff", file, "--json", "-")
    first = json.loads(run(table, *words))
    again = json.loads(run(file, "--json", "-"))
    for name in ("frequency_hz", "damping_ratio", "stiffness_n_per_m"):
        assert again["modes"][0][name] == pytest.approx(first["modes"][0][name], rel=0.01)


@pytest.mark.parametrize(
    "words",
    [
        ("--force", 1, "--response", 2),
        ("--rate", RATE, "--force", 1),
        ("--rate", RATE, "--force", 1, "--response", 9),
        ("--rate", RATE, "--response", 2, "--uff", "x.uff"),
        ("--rate", RATE, "--response", 2, "--from", 900, "--to", 800),
    ],
)
def test_bad_usage_says_what_to_do(table, words):
    with pytest.raises(ShopmonError) as error:
        run(table, *words)
    assert error.value.hint


def test_what_tap_writes_speeds_reads(table, tmp_path):
    file = tmp_path / "tip.uff"
    run(table, "--rate", RATE, "--force", 1, "--response", 2, "--record", 0.45, "--uff", file)
    words = ["--flutes", "3", "--material", "7075", "--milling", "slot", "--from", "9000", "--to", "12000"]
    done = CliRunner().invoke(speeds, ["--frf", f"xx:{file}", *words, "--step", "1500"])
    assert done.exit_code == 0, done.output or done.exception
    assert "rpm" in done.output


@pytest.fixture
def played(tmp_path, monkeypatch):
    """Play a recording as fast as it can be taken."""
    soundfile.write(tmp_path / "hits.wav", hits(), int(FAKE_RATE), subtype="PCM_24")
    monkeypatch.setattr(
        "shopmon.service.tap.live.make_source",
        lambda spec, device, settings: RecordingSource(spec, real_time=False),
    )
    return tmp_path / "hits.wav"


LIVE = (
    *("--force", 1, "--response", 2, "--force-full-scale", 500, "--full-scale", 60, "--unit", "g"),
    *("--hits", 4),
)


def test_live_says_what_it_thinks_of_each_hit(played):
    text = run("live", "--source", played, *LIVE)
    order = [
        text.index(words)
        for words in ("Spindle stopped", "Hit now", "Good: 1 of 4", "Double hit", "Done: 4 good")
    ]
    assert order == sorted(order)
    assert "--mode x:1450" in text


def test_live_keeps_what_it_says_out_of_the_json(played):
    done = CliRunner().invoke(
        command, [str(word) for word in ("live", "--source", played, *LIVE, "--json", "-")]
    )
    assert json.loads(done.stdout)["schema"] == "shopmon.tap/1"
    assert "Good: 1 of 4" in done.stderr


def test_live_ends_with_what_there_is(played):
    text = run("live", "--source", played, *LIVE[:-1], 20)
    assert "Done: 5 good hits." not in text and "6 hits, 5 of them clean" in text


@pytest.mark.parametrize("words", [("--force", "hammer"), ("--force", "1"), ("--response", "0")])
def test_live_channels_that_cannot_be(played, words):
    with pytest.raises(SettingError):
        run("live", "--source", played, *words)
