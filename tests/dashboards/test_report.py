"""Reports and data over a real archive: what is in them, what is left out, what is damaged or hostile."""

import csv
import doctest
import io
import json
import re
import sqlite3
from contextlib import closing

import pytest
import soundfile
from shopmon.dashboards.app import create_app
from shopmon.dashboards.report import drawing
from shopmon.dashboards.report.page import MOST_EVENTS, loudest_events, told

from shopmon.service.reporting import pdf
from tests.dashboards.kept_monitor import KeptMonitor
from tests.records.carrying.filled import fill

EVIL = "<script>alert(1)</script><img src=x onerror=alert(2)>"


@pytest.fixture
def shop(tmp_path):
    """A filled data folder."""
    return fill(tmp_path / "data")


@pytest.fixture
def client(shop):
    """A browser's requests to the pages over it."""
    monitor = KeptMonitor(shop.root)
    yield create_app(monitor).test_client()
    monitor.close()


def in_log(shop, statement: str, *values) -> None:
    """Change the log behind the program's back."""
    with closing(sqlite3.connect(shop.root / "shopmon.db", timeout=10)) as connection, connection:
        connection.execute(statement, values)


def test_a_report_needs_nothing_but_itself(shop, client):
    response = client.get(f"/cuts/{shop.cut_ids[0]}/report")
    html = response.text
    assert response.status_code == 200
    assert not re.search(r"<(script|link|iframe|object)\b", html)
    addresses = re.findall(r'\s(?:src|href|data)="([^"]*)"|url\(([^)]*)\)', html)
    addresses = ["".join(each) for each in addresses]
    assert all(address.startswith(("data:", "#")) for address in addresses), addresses
    policy = response.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "script-src" not in policy
    assert "Report on a cut" in html and "<svg" in html and "no certificate" in html.replace("\n", " ")


def test_what_was_said_stands_in_it(shop, client):
    html = client.get(f"/cuts/{shop.cut_ids[2]}/report").text
    for words in ("no chatter", "it was the door", "plum #4", "brake lever", "Looked at again"):
        assert words in html, words
    marked = client.get(f"/cuts/{shop.cut_ids[0]}/report").text
    assert "at the wall" in marked


def test_the_photograph_of_the_tool_is_in_it(shop, client):
    in_log(shop, "DELETE FROM corrections")
    html = client.get(f"/cuts/{shop.cut_ids[2]}/report").text
    assert (
        "data:image/png;base64," not in html and "more points than a page can show" in html
    )  # no size in its header


def test_sound_is_in_it_only_when_asked_for(shop, client):
    address = f"/cuts/{shop.cut_ids[0]}/report"
    assert "<audio" not in client.get(address).text
    assert 'src="data:audio/flac;base64,' in client.get(f"{address}?sound=yes").text


def test_paper(shop, client):
    address = f"/cuts/{shop.cut_ids[0]}/report"
    assert "size: A4" in client.get(address).text
    assert "size: letter" in client.get(f"{address}?paper=letter").text
    assert client.get(f"{address}?paper=napkin").status_code == 400


def test_everything_typed_is_escaped_and_cut(shop, client):
    in_log(shop, "UPDATE judgements SET note = ?", EVIL + "x" * 10_000_000)
    in_log(shop, "UPDATE contexts SET part = ?, operation = ?", EVIL, EVIL)
    in_log(shop, "UPDATE marks SET note = ?", EVIL)
    for cut_id in shop.cut_ids:
        html = client.get(f"/cuts/{cut_id}/report").text
        assert "<script" not in html and "<img src=x" not in html
    assert "more characters are in the log" in html and len(html) < 200_000
    html = client.get("/report/part", query_string={"part": EVIL}).text
    assert "<script" not in html and "&lt;script" in html and len(html) < 200_000
    assert "<script>alert" not in client.get("/take-along").text
    assert "<script>alert" not in client.get(f"/cuts/{shop.cut_ids[2]}").text


def test_letters_that_turn_a_line_are_gone():
    assert told("safe\u202egnp\x00\x1b[31m") == "safegnp[31m"
    assert told("8\u202f000\u00a0rpm") == "8\u202f000\u00a0rpm"


@pytest.mark.parametrize("content", [b"", b"garbage", b"PK\x03\x04 half a zip", None])
def test_a_damaged_file_of_figures(shop, client, content):
    for path in shop.root.glob("recordings/*.npz"):
        path.unlink() if content is None else path.write_bytes(content)
    html = client.get(f"/cuts/{shop.cut_ids[0]}/report").text
    assert "no figures along this cut" in html and "In metal" in html
    assert client.get(f"/api/cuts/{shop.cut_ids[0]}/data.csv").status_code == 404
    assert client.get(f"/api/cuts/{shop.cut_ids[0]}/data.json").json["figures"] is None
    assert client.get(f"/api/cuts/{shop.cut_ids[0]}/features").status_code == 404
    beside = client.get(f"/cuts/pair?first={shop.cut_ids[0]}&second={shop.cut_ids[1]}")
    assert beside.status_code == 200 and "One over the other" in beside.text


@pytest.mark.parametrize("content", [b"", b"garbage", b"fLaC" + bytes(60)])
def test_a_damaged_recording(shop, client, content):
    for path in shop.root.glob("recordings/*.flac"):
        path.write_bytes(content)
    html = client.get(f"/cuts/{shop.cut_ids[0]}/report?sound=yes").text
    assert "recording is damaged" in html and "<audio" not in html and "Figures" in html
    for form in ("wav", "flac"):
        answer = client.get(f"/api/cuts/{shop.cut_ids[0]}/labelled.{form}")
        assert answer.status_code == 404 and "be read" in answer.json["error"]
        assert str(shop.root) not in answer.text, "where the folder lies is nobody's business"


def test_a_recording_that_is_gone(shop, client):
    for path in shop.root.glob("recordings/*.flac"):
        path.unlink()
    assert "asked for, and it is not there" in client.get(f"/cuts/{shop.cut_ids[0]}/report?sound=yes").text
    assert client.get(f"/api/cuts/{shop.cut_ids[0]}/labelled.wav").status_code == 404


def test_the_report_on_a_part_adds_up(shop, client):
    html = client.get("/report/part?part=brake lever").text
    assert "0 of 1 rang" in html and "the monitor heard chatter" in html, "a person called it quiet"
    assert "30.0\u00a0s" in html and "it was the door" in html
    assert client.get("/report/part?part=nothing").status_code == 404
    assert "brake lever" in client.get("/take-along").text


def test_unknown_cuts(client):
    for address in ("/cuts/nothing/report", "/cuts/nothing/report.pdf", "/api/cuts/nothing/data.json"):
        assert client.get(address).status_code == 404


def test_without_a_browser_a_sentence(shop, client, monkeypatch):
    monkeypatch.setattr(pdf.shutil, "which", lambda name: None)
    answer = client.get(f"/cuts/{shop.cut_ids[0]}/report.pdf", headers={"Accept": "application/json"})
    assert answer.status_code == 503 and "No Chromium was found" in answer.text
    assert "As PDF" not in client.get(f"/cuts/{shop.cut_ids[0]}").text
    assert "it makes no PDF" in client.get("/take-along").text


def test_a_browser_that_hangs_or_fails(tmp_path, monkeypatch):
    slow = tmp_path / "slow"
    slow.write_text("#!/bin/sh\nexec sleep 60\n")
    slow.chmod(0o755)
    monkeypatch.setattr(pdf, "browser", lambda: str(slow))
    with pytest.raises(pdf.SettingError, match="did not print within"):
        pdf.as_pdf("<p>x</p>", longest_s=0.3)
    monkeypatch.setattr(pdf, "browser", lambda: "/bin/false")
    with pytest.raises(pdf.SettingError, match="made no PDF"):
        pdf.as_pdf("<p>x</p>")


def test_figures_as_csv(shop, client):
    rows = list(csv.DictReader(io.StringIO(client.get(f"/api/cuts/{shop.cut_ids[0]}/data.csv").text)))
    assert list(rows[0]) == [
        "t_s", "rpm", "level_db_re_fs", "comb_db_re_fs", "stray_db_re_fs", "state", "engaged",
    ]  # fmt: skip
    assert len(rows) > 50 and rows[0]["stray_db_re_fs"] == "" and rows[0]["engaged"] == "no"


def test_everything_of_a_cut_as_json(shop, client):
    told_now = client.get(f"/api/cuts/{shop.cut_ids[2]}/data.json").json
    assert told_now["schema"] == "shopmon.cut/1" and told_now["line"]["said"] == "no chatter"
    assert [each["original"] for each in told_now["analyses"]] == [True, False]
    assert told_now["judgements"][0]["note"] == "it was the door"


def test_tables_of_cuts_pass_filters_and_formulas_are_text(shop, client):
    in_log(shop, "UPDATE judgements SET note = '=HYPERLINK(1)'")
    text = client.get("/api/cuts/export.csv").text
    rows = list(csv.DictReader(io.StringIO(text)))
    assert len(rows) == 3 and rows[0]["notes"] == "'=HYPERLINK(1)"
    told_quiet = client.get("/api/cuts/export.json?verdict=quiet").json["cuts"]
    assert [line["verdict"] for line in told_quiet if line["said"]] == ["chatter"], "a person's word finds it"
    assert not client.get("/api/cuts/export.json?verdict=chatter").json["cuts"]
    assert len(client.get("/api/cuts/export.json?end_mill=plum %234").json["cuts"]) == 1
    assert client.get("/api/cuts/export.csv?colour=plum").status_code == 400
    assert client.get("/api/cuts/export.json?until=5").json["cuts"] == []


def test_labelled_sound(shop, client):
    cut_id = shop.cut_ids[0]
    here = soundfile.read(
        next(shop.root.glob("recordings/*.flac")).parent / client_path(shop, cut_id), dtype="int16"
    )[0]
    for form in ("wav", "flac"):
        answer = client.get(f"/api/cuts/{cut_id}/labelled.{form}")
        assert int(answer.headers["Content-Length"]) == len(answer.data)
        assert soundfile.read(io.BytesIO(answer.data), dtype="int16")[0].tobytes() == here.tobytes()
        assert b"in metal 1" in answer.data
    assert re.match(r"12\.\d{6}\t20\.\d{6}\tin metal 1\n", client.get(f"/api/cuts/{cut_id}/labels.txt").text)


def client_path(shop, cut_id: str) -> str:
    """Return the file name of a cut's sound."""
    with closing(sqlite3.connect(shop.root / "shopmon.db", timeout=10)) as connection:
        query = "SELECT path FROM recordings r JOIN cuts c ON c.recording_id = r.id WHERE c.id = ?"
        return connection.execute(query, (cut_id,)).fetchone()[0].split("/")[1]


def test_the_totals_of_what_is_on_the_disk(shop, client):
    html = client.get("/take-along").text
    assert "Take it with you" in html and str(shop.root) in html and "2 recordings" in html
    json.dumps(html)


def test_of_very_many_events_the_loudest_are_told_in_their_order():
    events = [{"start_s": float(n), "level_db": None if n == 7 else -20.0 - n % 50} for n in range(240)]
    told_of = loudest_events(events)
    assert len(told_of) == MOST_EVENTS and 7.0 not in [event["start_s"] for event in told_of]
    assert [event["start_s"] for event in told_of] == sorted(event["start_s"] for event in told_of)
    assert min(event["level_db"] for event in told_of) >= -20.0 - 12
    assert loudest_events(events[:3]) == events[:3]


def test_an_hour_has_ticks_at_whole_minutes():
    assert doctest.testmod(drawing).failed == 0
    for length_s in (125.0, 3540.0, 40_000.0):
        ticks = drawing.time_ticks(13.0, 13.0 + length_s, 8)
        assert 2 <= len(ticks) <= 8 and all(at % 15 == 0 or at % 20 == 0 for at in ticks)
