"""The self-check: each fault it looks for is made, and it says so with what to do."""

import http.server
import json
import socket
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path
from typing import ClassVar

import pytest

from shopmon.capture.inputs import InputDevice
from shopmon.errors import DeviceError
from shopmon.records import database
from shopmon.service.selfcheck import computer, sound
from shopmon.service.selfcheck import everything as selfcheck
from shopmon.service.selfcheck.finding import Finding, as_report, worst
from shopmon.service.settings import Settings, settings_from


def test_something_wrong_must_have_a_hint():
    with pytest.raises(ValueError, match="needs a hint"):
        Finding(name="x", verdict="wrong", text="It does not work.")
    with pytest.raises(ValueError, match="unknown verdict"):
        Finding(name="x", verdict="fine", text="It works.")


def test_the_worst_finding_decides():
    ok, look = (Finding(name="x", verdict=verdict, text="") for verdict in ("ok", "look"))
    wrong = Finding(name="x", verdict="wrong", text="", hint="Mend it.")
    assert worst([]) == "ok"
    assert worst([ok, look, ok]) == "look"
    assert as_report([look, wrong, ok])["verdict"] == "wrong"


@pytest.mark.parametrize(
    ("version", "bits64", "verdict"),
    [
        ((3, 10), True, "wrong"),
        ((3, 11), True, "ok"),
        ((3, 13), True, "ok"),
        ((3, 14), True, "wrong"),
        ((3, 11), False, "wrong"),
    ],
)
def test_python(version, bits64, verdict):
    assert computer.check_python(version, bits64).verdict == verdict


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("pytest>=1", ""),
        ("pytest<1,>=0.5", "too new"),
        ("pytest>=1000", "too old"),
        ("no-such-package>=1", "missing"),
        ("no-such-package>=1; extra == 'test'", ""),
    ],
)
def test_packages_are_held_against_what_is_needed(line, said):
    (finding,) = selfcheck.check_packages([line])
    assert said in finding.text
    assert finding.verdict == ("wrong" if said else "ok")


def test_this_installation_has_its_packages():
    (finding,) = selfcheck.check_packages()
    assert (finding.verdict, "numpy" in finding.text) == ("ok", True)


def test_a_bad_settings_file_is_named_and_the_check_goes_on(tmp_path):
    bad = tmp_path / "settings.toml"
    bad.write_text("[network]\nprot = 1\n")
    settings, (finding,) = selfcheck.check_settings(bad)
    assert finding.verdict == "wrong"
    assert "port" in finding.hint
    assert settings.network.port > 0


def test_the_data_folder_is_not_made_by_looking(tmp_path):
    folder = tmp_path / "not" / "yet"
    assert selfcheck.check_data_folder(folder, 10**9).verdict in ("ok", "look")
    assert list(tmp_path.iterdir()) == []


def test_a_data_folder_below_a_file_cannot_be_written(tmp_path):
    (tmp_path / "file").touch()
    finding = selfcheck.check_data_folder(tmp_path / "file" / "data", 10**9)
    assert finding.verdict == "wrong"
    assert "--data" in finding.hint


@pytest.mark.parametrize(("free_gb", "verdict"), [(0.1, "wrong"), (2.0, "look"), (100.0, "ok")])
def test_room(free_gb, verdict):
    finding = selfcheck.room_finding(Path("data"), free_gb * 1e9, budget_bytes=20e9)
    assert finding.verdict == verdict
    assert f"{free_gb:.1f} GB" in finding.text


def test_the_budget_limits_what_can_be_kept():
    # 0.7 of 96 kB/s for an hour is 0.242 GB
    assert "about 83 hours" in selfcheck.room_finding(Path("data"), 900e9, budget_bytes=20e9).text
    assert "about 41 hours" in selfcheck.room_finding(Path("data"), 10e9, budget_bytes=20e9).text


def test_no_database_yet_is_well(tmp_path):
    (finding,) = selfcheck.check_database(tmp_path / "shopmon.db")
    assert finding.verdict == "ok"
    assert list(tmp_path.iterdir()) == []


def test_a_database_in_use_is_read_without_disturbing_it(tmp_path):
    path = tmp_path / "shopmon.db"
    engine = database.open_database(path, tmp_path / "backups")
    with engine.begin():
        (finding,) = selfcheck.check_database(path)
    engine.dispose()
    assert (finding.verdict, database.REVISIONS[-1] in finding.text) == ("ok", True)


def test_what_is_no_database_is_wrong(tmp_path):
    (tmp_path / "shopmon.db").write_bytes(b"a shopping list, surely no database" * 100)
    (finding,) = selfcheck.check_database(tmp_path / "shopmon.db")
    assert finding.verdict == "wrong"
    assert "backups" in finding.hint


def test_a_database_of_a_newer_version_is_wrong(tmp_path):
    with sqlite3.connect(tmp_path / "shopmon.db") as connection:
        connection.execute("CREATE TABLE alembic_version (version_num TEXT)")
        connection.execute("INSERT INTO alembic_version VALUES ('9999')")
    connection.close()
    (finding,) = selfcheck.check_database(tmp_path / "shopmon.db")
    assert finding.verdict == "wrong"
    assert "9999" in finding.text


@pytest.mark.parametrize(("origin", "verdict"), [(None, "look"), ("network", "ok"), ("clock chip", "ok")])
def test_clock(monkeypatch, origin, verdict):
    monkeypatch.setattr(selfcheck.clock, "trusted_clock", lambda: origin)
    assert selfcheck.check_clock().verdict == verdict


def an_input(name: str, index: int = 0) -> InputDevice:
    return InputDevice(index=index, name=name, channels=1, default_sample_rate_hz=48_000, host_api="ALSA")


def unable() -> list[InputDevice]:
    raise DeviceError("The PortAudio library was not found.", "Install it.")


def test_a_missing_sound_library_is_wrong(tmp_path):
    (finding,) = sound.check_sound(Settings(), unable, tmp_path)
    assert (finding.verdict, finding.hint) == ("wrong", "Install it.")


def test_no_microphone_is_worth_a_look(tmp_path):
    (finding,) = sound.check_sound(Settings(), list, tmp_path)
    assert finding.verdict == "look"


def test_a_sound_card_that_may_not_be_used_is_wrong(tmp_path, monkeypatch):
    (tmp_path / "pcmC1D0c").touch()
    monkeypatch.setattr(sound.os, "access", lambda path, mode: False)
    (finding,) = sound.check_sound(Settings(), list, tmp_path)
    assert (finding.verdict, "adduser" in finding.hint) == ("wrong", True)


def test_inputs_named_in_the_settings_are_looked_for(tmp_path):
    settings = settings_from({"sources": {"near": {"device": "usb"}, "far": {"device": "webcam"}}})
    found = sound.check_sound(settings, lambda: [an_input("USB sound: Audio (hw:1,0)")], tmp_path)
    assert [finding.verdict for finding in found] == ["ok", "ok", "wrong"]
    assert "USB sound: Audio" in found[1].text
    assert "'far'" in found[2].text


def test_a_free_port_is_well():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    assert selfcheck.check_port(port).verdict == "ok"


def test_a_port_taken_by_another_program_is_wrong():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        answer = threading.Thread(target=lambda: other.accept()[0].close())
        answer.start()
        finding = selfcheck.check_port(other.getsockname()[1])
        answer.join()
    assert finding.verdict == "wrong"
    assert "--port" in finding.hint


class Health(http.server.BaseHTTPRequestHandler):
    """Answers like a monitor that is or is not well."""

    report: ClassVar[dict] = {"ok": True}

    def do_GET(self):
        self.send_response(200 if self.report["ok"] else 503)
        self.end_headers()
        self.wfile.write(json.dumps(self.report).encode())

    def log_message(self, *arguments):
        pass


@pytest.mark.parametrize("well", [True, False])
def test_a_running_monitor_is_asked_how_it_is(monkeypatch, well):
    monkeypatch.setattr(Health, "report", {"ok": well})
    with http.server.HTTPServer(("127.0.0.1", 0), Health) as server:
        threading.Thread(target=server.handle_request).start()
        finding = selfcheck.check_port(server.server_port)
    assert finding.verdict == ("ok" if well else "wrong")
    assert "monitor" in finding.text


# 0x50005: the documented example of a Pi that is under voltage and throttled, now and before
@pytest.mark.parametrize(
    ("bits", "verdict", "said"),
    [
        (0x0, "ok", "held up"),
        (0x50005, "wrong", "voltage is too low; the processor is slowed down."),
        (0x50000, "look", "voltage was too low"),
        (0x8, "look", "processor is hot"),
        (0x40000, "look", "slowed down some time"),
    ],
)
def test_power(bits, verdict, said):
    finding = computer.power_finding(bits)
    assert finding.verdict == verdict
    assert said in finding.text


def fake_disk(tmp_path: Path, name: str, *, rotational: str = "0", kind: str | None = None) -> Path:
    """Make a folder like /sys with one disk and its first partition; return the partition."""
    partition = tmp_path / name / f"{name}p1"
    (tmp_path / name / "queue").mkdir(parents=True)
    (tmp_path / name / "queue" / "rotational").write_text(f"{rotational}\n")
    if kind:
        (tmp_path / name / "device").mkdir()
        (tmp_path / name / "device" / "type").write_text(f"{kind}\n")
    partition.mkdir()
    return partition


@pytest.mark.parametrize(
    ("disk", "verdict", "said"),
    [
        ({"name": "mmcblk0", "kind": "SD"}, "look", "memory card"),
        ({"name": "mmcblk0", "kind": "MMC"}, "ok", "solid-state"),
        ({"name": "sda"}, "ok", "solid-state"),
        ({"name": "sdb", "rotational": "1"}, "ok", "hard disk"),
    ],
)
def test_storage(tmp_path, disk, verdict, said):
    (finding,) = computer.storage_findings(fake_disk(tmp_path, **disk), "ext4")
    assert finding.verdict == verdict
    assert said in finding.text


def test_data_in_memory_is_wrong_and_unknown_storage_says_nothing(tmp_path):
    assert computer.storage_findings(tmp_path / "absent", "tmpfs")[0].verdict == "wrong"
    assert computer.storage_findings(tmp_path / "absent", "overlay") == []


def selfcheck_process(*arguments: str, home: Path) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-m", "shopmon", "selfcheck", *arguments],
        capture_output=True,
        text=True,
        env={"PATH": "/usr/bin:/bin", "HOME": str(home)},
    )


def test_the_command_as_json_and_for_people(tmp_path):
    done = selfcheck_process("--json", "-", "--port", "0", "--data", str(tmp_path / "data"), home=tmp_path)
    report = json.loads(done.stdout)
    assert report["schema"] == "shopmon.selfcheck/1"
    assert done.returncode == (1 if report["verdict"] == "wrong" else 0)
    assert {"python", "packages", "settings", "data folder", "database", "sound", "clock", "port"} <= {
        check["name"] for check in report["checks"]
    }
    people = selfcheck_process("--port", "0", "--data", str(tmp_path / "data"), home=tmp_path).stdout
    assert [line.split()[0] for line in people.splitlines() if not line.startswith(" ")] == [
        check["verdict"] for check in report["checks"]
    ]


def test_something_wrong_gives_status_1_and_no_traceback(tmp_path):
    done = selfcheck_process("--settings", str(tmp_path / "none.toml"), "--port", "0", home=tmp_path)
    assert done.returncode == 1
    assert "wrong  settings" in done.stdout
    assert done.stderr == ""


def test_json_to_an_impossible_place_is_one_line(tmp_path):
    done = selfcheck_process("--json", str(tmp_path / "no" / "file.json"), "--port", "0", home=tmp_path)
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "--json" in done.stderr
