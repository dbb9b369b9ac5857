"""What the monitor said live is what a later look at the kept recording says again."""

from functools import partial

import numpy as np
import pytest
import soundfile as sf

from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.scenarios import scenario
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.records.archive import Archive
from shopmon.service.context import facts_of
from shopmon.service.inspection import inspect_recording
from shopmon.service.monitor import Monitor
from shopmon.service.settings import Settings
from tests.service.paced import PacedByTheArchive

RATE_HZ = 48_000


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    """Two passes after each other, both with chatter."""
    parts, setup = [], None
    for name, seed in (("pass-that-rings", 1), ("pass-that-rings", 2)):
        samples, truth = render(scenario(name), seed)
        parts.append(np.round(samples * 32767).astype("<i2"))
        setup = setup or {k: truth["spindle"][k] for k in ("nominal_rpm", "flutes")}
    path = tmp_path_factory.mktemp("played") / "two.wav"
    sf.write(path, np.concatenate(parts), RATE_HZ, subtype="PCM_16")
    return path, Setup(**setup)


def _run(tmp_path, played, changes=(), wishes=()):
    path, setup = played
    archive = Archive.open(tmp_path / "data", budget_bytes=10**10, buffer_s=0)
    due = []
    source = PacedByTheArchive(path, archive, due)
    monitor = Monitor(source, archive, Settings(), setup)
    due += [(sample, partial(monitor.set_context, values, "touched")) for sample, values in changes]
    due += [(sample, partial(wish, monitor.wishes)) for sample, wish in wishes]
    monitor.start()
    assert monitor.engine_finished.wait(120) and monitor.speeds.wait()
    archive.flush()
    cuts = [monitor.cut(row["id"]) for row in archive.cuts()][::-1]
    files = {cut["id"]: archive.audio_path(cut["id"]) for cut in cuts}
    monitor.close()
    return cuts, files


def _spans(chatter):
    return [(span["start_s"], span["end_s"], span["alarm_s"], span["frequency_hz"]) for span in chatter]


def _assert_same(cuts, files):
    for path in set(files.values()):
        live = [cut for cut in cuts if files[cut["id"]] == path]
        facts = facts_of({}, Settings().machine)
        again = inspect_recording(path, setup=Setup(), settings=ListenerSettings(), facts=facts)
        assert again["start"] == "sidecar"
        assert len(again["cuts"]) == len(live)
        for heard, cut in zip(again["cuts"], live, strict=True):
            assert np.allclose(heard["engaged"], cut["engaged"], atol=1e-3)
        chatter = [span for cut in live for span in cut["chatter"]]
        assert len(chatter) == len(again["chatter"])
        assert np.allclose(_spans(again["chatter"]), _spans(chatter), atol=0.02)
        if chatter:
            loudest = max(live, key=lambda cut: max((c["level_db"] for c in cut["chatter"]), default=-999))
            assert _advised(again["advice"]) == pytest.approx(_advised(loudest["advice"]), rel=0.01)


def _advised(advice):
    assert advice
    return [entry["rpm"] for entry in advice if entry["action"] == "speed"]


def test_the_kept_recording_tells_the_same_as_the_live_monitor(tmp_path, played):
    cuts, files = _run(tmp_path, played)
    assert len(cuts) >= 2 and any(cut["chatter"] for cut in cuts)
    _assert_same(cuts, files)


def test_another_tool_begins_another_cut_and_the_recording_knows_it(tmp_path, played):
    plain, _ = _run(tmp_path / "plain", played)
    midway = (plain[0]["first_sample"] + plain[0]["end_sample"]) // 2
    changes = [(midway, {"end_mill": "H3-07"}), (midway + RATE_HZ, {"ap_mm": 2.0})]
    cuts, files = _run(tmp_path / "changed", played, changes)
    assert len(cuts) == len(plain) + 1
    assert [cut["context"].get("end_mill") for cut in cuts][-1] == "H3-07"
    assert cuts[0]["context"].get("end_mill") is None
    assert sum(cut["cut_time_s"] for cut in cuts) == pytest.approx(
        sum(cut["cut_time_s"] for cut in plain), abs=0.1
    )
    _assert_same(cuts, files)


def test_a_rejected_tone_holds_from_the_moment_on_live_and_in_the_recording(tmp_path, played):
    plain, _ = _run(tmp_path / "plain", played)
    span = next(cut for cut in plain if cut["chatter"])["chatter"][0]
    ringing_hz = span["frequency_hz"]
    # a recording comes in long blocks, and a wish holds from the next one on
    before = span["alarm_sample"] - int(1.6 * RATE_HZ)

    def reject(wishes):
        wishes.accept_false_alarms(2.0)
        for step in range(-12, 13):
            wishes.reject(frequency_hz=ringing_hz + 8.0 * step)

    cuts, files = _run(tmp_path / "rejected", played, wishes=[(before, reject)])
    assert len(cuts) == len(plain)
    # what rings is held to be in metal a moment longer, so an end may move by a sub-frame or two
    for cut, as_before in zip(cuts, plain, strict=True):
        assert np.allclose(cut["engaged"], as_before["engaged"], atol=0.05)
    near = [c for cut in cuts for c in cut["chatter"] if abs(c["frequency_hz"] - ringing_hz) < 90]
    assert not near
    _assert_same(cuts, files)
