"""The settings file: what is understood, and what is refused with a reason."""

import pytest

from shopmon.errors import SettingError
from shopmon.service.settings import Settings, default_data_dir, load_settings

WHOLE = """
[machine]
name = "the bench mill"
min_rpm = 1000
max_rpm = 24000

[sources.spindle-side]
kind = "mic"
device = "USB"
sample_rate_hz = 48000
channels = 2

[network]
lan = true
port = 8200

[storage]
data_dir = "~/shopmon"
buffer_minutes = 5
budget_gb = 1.5
keep_audio = false

[screen]
units = "inch"

[lamp]
gpio_pin = 17

[listening]
cut_gap_s = 2
"""


def _load(tmp_path, text):
    file = tmp_path / "settings.toml"
    file.write_text(text, encoding="utf-8")
    return load_settings(file)


def test_a_whole_file_is_understood(tmp_path):
    settings = _load(tmp_path, WHOLE)
    assert settings.machine.max_rpm == 24_000
    assert settings.sources["spindle-side"].channels == 2
    assert settings.network.lan and settings.network.port == 8200
    assert settings.storage.budget_bytes == 1_500_000_000
    assert settings.screen.units == "inch"
    assert settings.lamp.gpio_pin == 17


def test_an_empty_file_means_all_defaults(tmp_path):
    assert _load(tmp_path, "") == Settings()


def test_no_file_at_the_default_place_means_all_defaults(tmp_path, monkeypatch):
    monkeypatch.delenv("SHOPMON_SETTINGS", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert load_settings() == Settings()


@pytest.mark.parametrize(
    ("text", "reason", "hint"),
    [
        ("[machine]\nmaxrpm = 1", "'machine.maxrpm'", "max_rpm"),
        ("[machines]\n", "'machines'", "machine"),
        ("[machine]\nmax_rpm = 'fast'", "machine.max_rpm = 'fast'", "Mend"),
        ("[machine]\nmin_rpm = 9000\nmax_rpm = 100", "min_rpm", "Mend"),
        ("[network]\nport = 99999", "network.port", "Mend"),
        ("[network]\nlan = 1", "network.lan", "Mend"),
        ("[screen]\nunits = 'cubits'", "cubits", "Mend"),
        ("[storage]\nbudget_gb = -1", "budget_gb", "Mend"),
        ("machine = 3", "'machine'", "README"),
        ("[sources]\nbench = 3", "sources.bench", "README"),
        ("[sources.x]\nkind = 'radio'", "radio", "Mend"),
        ("[listening]\ncut_gap_s = nan", "cut_gap_s", "Mend"),
        ("not toml", "not valid TOML", "Mend"),
    ],
)
def test_what_is_not_understood_is_refused_with_a_reason(tmp_path, text, reason, hint):
    with pytest.raises(SettingError) as caught:
        _load(tmp_path, text)
    assert reason in caught.value.text
    assert hint in caught.value.hint


@pytest.mark.parametrize("make", ["missing", "folder", "binary"])
def test_a_file_that_cannot_be_read_is_refused_with_a_reason(tmp_path, make):
    path = tmp_path / "settings.toml"
    if make == "folder":
        path.mkdir()
    if make == "binary":
        path.write_bytes(b"\xff\xfe\x00bad")
    with pytest.raises(SettingError, match=str(path)):
        load_settings(path)


def test_the_data_folder_follows_the_environment(tmp_path, monkeypatch):
    monkeypatch.setenv("SHOPMON_DATA", str(tmp_path / "here"))
    assert default_data_dir() == tmp_path / "here"
