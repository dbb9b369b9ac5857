"""Which audio is kept for which cut, and that it is the audio that was heard."""

import tempfile
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shopmon.errors import SettingError, StoreError
from shopmon.records.archive import Archive
from shopmon.records.sound.filing import read_sidecar, sidecar_path
from tests.records.synthetic import Feed, audio_span, block_between, codes_between, read_codes, stream

ROUND = 1000  # samples per second of the slow stream


def test_audio_reaches_from_a_snapshot_before_the_margin_to_three_seconds_after(archive):
    feed = Feed(archive)
    feed.to(33.0)
    feed.cut("cut", 32.0, 40.0)
    feed.to(70.0)
    archive.flush()
    # ten seconds before 32 s is 22 s, and the last snapshot before that was at 20 s
    assert audio_span(archive, "cut") == (20 * ROUND, 43 * ROUND)
    cut = archive.cut("cut")
    assert (cut["start_s"], cut["end_s"], cut["cut_time_s"]) == (12.0, 20.0, 8.0)


def test_audio_begins_with_the_stream_when_the_cut_comes_early(archive):
    feed = Feed(archive)
    feed.to(4.0)
    feed.cut("cut", 3.0, 6.0)
    archive.end_stream("stream")
    archive.flush()
    assert audio_span(archive, "cut") == (0, 6 * ROUND)


def test_overlapping_margins_share_one_recording_and_others_do_not(archive):
    feed = Feed(archive)
    feed.to(30.0)
    feed.cut("first", 30.0, 40.0)
    feed.to(53.0)
    feed.cut("near", 53.0, 55.0)
    feed.to(75.0)
    feed.cut("far", 75.0, 76.0)
    archive.end_stream("stream")
    archive.flush()
    assert archive.audio_path("first") == archive.audio_path("near") != archive.audio_path("far")
    assert audio_span(archive, "first") == audio_span(archive, "near") == (20 * ROUND, 58 * ROUND)
    assert audio_span(archive, "far") == (65 * ROUND, 76 * ROUND)


cut_plans = st.lists(st.tuples(st.integers(4, 400), st.integers(1, 300)), min_size=1, max_size=6)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(plan=cut_plans, announced_late=st.integers(0, 20), segment=st.sampled_from([0, 600]))
def test_each_cut_has_exactly_its_margins(plan, announced_late, segment):
    """Random cuts (tenths of seconds: pause before, length), announced up to two seconds late."""
    with tempfile.TemporaryDirectory() as folder:
        archive = Archive.open(Path(folder), budget_bytes=10**9, buffer_s=segment, reserve_bytes=0)
        feed, now, cuts = Feed(archive, stream(100.0)), 0.0, {}
        for number, (pause, length) in enumerate(plan):
            start, end = now + pause / 10, now + pause / 10 + length / 10
            feed.to(min(start + announced_late / 10, end))
            feed.cut(f"cut{number}", start, end)
            now, cuts[f"cut{number}"] = end, (start, end)
        feed.to(now + 60.0)
        archive.flush()
        spans = {}
        for cut_id, (start, end) in cuts.items():
            spans[cut_id] = first, last = audio_span(archive, cut_id)
            assert first % 500 == 0, "begins at a snapshot"
            assert first <= max(0, 100 * (start - 10)) + 1e-6
            assert last >= 100 * (end + 3) - 1e-6
        for before, after in zip(spans, list(spans)[1:], strict=False):
            overlapping = cuts[after][0] - 10 <= cuts[before][1] + 3
            if overlapping:
                assert spans[before] == spans[after]
            elif spans[before] != spans[after]:
                assert spans[before][1] == round(100 * (cuts[before][1] + 3))
        archive.close()


@pytest.mark.parametrize(
    ("code_format", "channels", "suffix"),
    [
        ("int16", 1, ".flac"),
        ("int16", 8, ".flac"),
        ("int24", 2, ".flac"),
        ("int16", 9, ".wav"),
        ("int32", 1, ".wav"),
        ("float32", 2, ".wav"),
        ("int24", 12, ".wav"),
    ],
)
def test_codes_survive_in_every_format(archive, code_format, channels, suffix):
    info = stream(8000.0, channels, code_format)
    feed = Feed(archive, info)
    feed.to(3.0)
    feed.cut("cut", 1.0, 4.0)
    archive.end_stream("stream")
    archive.flush()
    path = archive.audio_path("cut")
    assert path.suffix == suffix
    np.testing.assert_array_equal(read_codes(path, info), codes_between(0, 32_000, info))


def test_floats_that_are_no_numbers_survive(archive):
    info = stream(8000.0, 1, "float32")
    feed = Feed(archive, info)
    feed.to(1.0)
    odd = block_between(8000, 8003, info)
    odd.codes[:, 0] = [np.nan, np.inf, -np.inf]
    archive.append(odd)
    archive.start_cut("cut", "stream", 4000, {})
    archive.end_cut("cut", 8003, [], [], {}, "0", "h")
    archive.end_stream("stream")
    archive.flush()
    found = read_codes(archive.audio_path("cut"), info)
    assert np.isnan(found[8000, 0]) and np.isposinf(found[8001, 0]) and np.isneginf(found[8002, 0])


def test_lost_samples_stand_as_silence_and_shift_nothing(archive):
    feed = Feed(archive)
    feed.to(12.0)
    archive.start_cut("cut", "stream", 11 * ROUND, {})
    feed.skip_to(14.5)
    feed.to(20.0)
    archive.end_cut("cut", 20 * ROUND, [(11 * ROUND, 20 * ROUND)], [], {}, "0", "h")
    archive.end_stream("stream")
    archive.flush()
    cut = archive.cut("cut")
    assert cut["gaps"] == [[12.0, 14.5]]
    assert audio_span(archive, "cut") == (0, 20 * ROUND)
    sidecar = read_sidecar(sidecar_path(archive.audio_path("cut")))
    assert sidecar["gaps"] == [[12 * ROUND, 14_500]]


def test_samples_that_come_twice_are_kept_once(archive):
    feed = Feed(archive)
    feed.to(5.0)
    archive.append(block_between(4900, 5100, feed.info))
    archive.append(block_between(4900, 5050, feed.info))
    feed.position = 5100
    feed.cut("cut", 5.0, 7.0)
    archive.end_stream("stream")
    archive.flush()
    assert audio_span(archive, "cut") == (0, 7 * ROUND)


def test_an_absurd_jump_does_not_become_hours_of_silence(archive):
    feed = Feed(archive)
    feed.to(5.0)
    archive.start_cut("cut", "stream", 4 * ROUND, {})
    feed.skip_to(1e7)
    feed.to(1e7 + 1)
    archive.end_cut("cut", feed.position, [], [], {}, "0", "h")
    archive.end_stream("stream")
    archive.flush()
    assert audio_span(archive, "cut") == (0, 5 * ROUND)


def test_an_hour_in_the_cut_is_one_recording(archive):
    feed = Feed(archive, stream(100.0))
    feed.to(30.0)
    archive.start_cut("cut", "stream", 3000, {})
    for minute in range(1, 70):
        feed.to(30.0 + 60 * minute)
        archive.flush(filing=False)
    feed.cut("after", 30.0 + 69 * 60 + 5, 30.0 + 69 * 60 + 6)
    archive.end_cut("cut", feed.position, [], [], {}, "0", "h")
    feed.to(80 * 60.0)
    archive.flush()
    assert audio_span(archive, "cut")[0] == 2000
    assert audio_span(archive, "cut")[1] >= (30 + 69 * 60 + 6 + 3) * 100


def test_the_rolling_buffer_forgets(open_archive, tmp_path):
    archive = open_archive(buffer_s=120)
    feed = Feed(archive)
    for seconds in range(60, 1200, 60):
        feed.to(seconds)
        archive.flush(filing=False)
    held = sum(soundfile.info(path).frames for path in (tmp_path / "data/buffer").rglob("*.wav"))
    assert 120 * ROUND <= held <= 160 * ROUND
    rows = sum(path.stat().st_size for path in (tmp_path / "data/buffer").rglob("*.features"))
    assert rows < 300 * 10 * 40


def test_without_a_buffer_the_margin_is_still_there(open_archive, tmp_path):
    archive = open_archive(buffer_s=0)
    feed = Feed(archive)
    for seconds in range(10, 130, 10):
        feed.to(seconds)
        archive.flush(filing=False)
    held = sum(soundfile.info(path).frames for path in (tmp_path / "data/buffer").rglob("*.wav"))
    assert held <= 50 * ROUND
    feed.cut("cut", 119.0, 125.0)
    archive.end_stream("stream")
    archive.flush()
    assert audio_span(archive, "cut") == (105 * ROUND, 125 * ROUND)


def test_figures_without_audio(open_archive, tmp_path):
    archive = open_archive(keep_audio=False)
    feed = Feed(archive)
    feed.to(20.0)
    feed.engaged = True
    feed.cut("cut", 20.0, 25.0)
    archive.end_stream("stream")
    archive.flush()
    assert archive.audio_path("cut") is None
    assert archive.cut("cut")["has_audio"] is False
    assert archive.features("cut")["engaged"].sum() == 50
    status = archive.status()
    assert (status.recording, status.stopped_because) == (False, None)
    with pytest.raises(SettingError):
        archive.keep_last("stream", 10, "kept")
    archive.close()
    written = [path.suffix for path in (tmp_path / "data").rglob("*") if path.is_file()]
    assert not {".wav", ".flac", ".jsonl"} & set(written)


def test_the_sidecar_holds_state_changes_and_settings(archive):
    feed = Feed(archive)
    feed.to(21.0)
    archive.add_context("before", {"flutes": 2}, {}, "stream", 9 * ROUND)
    archive.add_context("inside", {"flutes": 4, "nominal_rpm": 9000.0}, {}, "stream", 21 * ROUND)
    feed.cut("cut", 20.0, 25.0)
    archive.add_context("after", {"flutes": 5}, {}, "stream", 40 * ROUND)
    feed.to(60.0)
    archive.flush()
    sidecar = read_sidecar(sidecar_path(archive.audio_path("cut")))
    assert sidecar["schema"] == "shopmon.sidecar/1"
    assert sidecar["first_sample"] == sidecar["state"]["here"] == 10 * ROUND
    assert sidecar["setup"] == {"flutes": 3}
    assert sidecar["setup_changes"] == [{"sample": 21 * ROUND, "flutes": 4, "nominal_rpm": 9000.0}]
    assert sidecar["settings"] == {"cut_gap_s": 3.0}


def test_features_begin_with_the_recording_and_show_while_the_cut_is_open(archive):
    feed = Feed(archive)
    feed.to(20.0)
    archive.start_cut("cut", "stream", 20 * ROUND, {})
    feed.engaged = True
    feed.to(22.0)
    archive.flush()
    open_features = archive.features("cut")
    feed.engaged = False
    archive.end_cut("cut", 22 * ROUND, [], [], {}, "0", "h")
    feed.to(50.0)
    archive.flush()
    for features in (open_features, archive.features("cut")):
        engaged = features["t_s"][features["engaged"]]
        assert (engaged[0], engaged[-1]) == (10.1, 12.0)
        assert set(features["state"][features["engaged"]]) == {"cutting"}
        assert np.isnan(features["stray_db"]).all() and (features["comb_db"] == -40).all()
    assert len(archive.features("cut")["t_s"]) == 150  # 10 s before, 2 s of cut, 3 s after


def test_the_last_two_minutes_can_be_kept_also_within_a_cut(archive):
    feed = Feed(archive)
    feed.to(150.0)
    archive.start_cut("cut", "stream", 140 * ROUND, {})
    feed.to(152.05)
    for mark_id, second in (("before", 29), ("within", 100), ("in the cut", 151)):
        archive.mark_moment(mark_id, "stream", second * ROUND, mark_id)
    archive.keep_last("stream", 120, "kept", "the squeal")
    archive.flush()
    (kept,) = archive.kept_recordings()
    assert (kept["id"], kept["note"], kept["filed"], kept["keep"]) == ("kept", "the squeal", True, True)
    assert not kept["audio_pending"]
    lie_at = {mark["note"]: mark["t_s"] for mark in kept["marks"]}
    assert lie_at == {"within": 70.0, "in the cut": 121.0}
    assert [mark["cut_id"] for mark in archive.marks()] == ["cut", None, None]
    assert kept["duration_s"] == 120.0
    found = read_codes(archive.kept_audio_path("kept"), feed.info)
    np.testing.assert_array_equal(found, codes_between(30 * ROUND, 152_050, feed.info))
    archive.end_cut("cut", 152 * ROUND, [], [], {}, "0", "h")
    feed.to(180.0)
    archive.flush()
    assert audio_span(archive, "cut") == (130 * ROUND, 155 * ROUND)


def test_more_than_there_is_cannot_be_kept_but_all_of_it(archive):
    feed = Feed(archive)
    feed.to(7.0)
    archive.keep_last("stream", 120, "kept")
    archive.flush()
    assert archive.kept_recordings()[0]["duration_s"] == 7.0
    for seconds in (0, -1, float("nan"), float("inf")):
        with pytest.raises(SettingError):
            archive.keep_last("stream", seconds, "no")
    with pytest.raises(StoreError, match="not running"):
        archive.keep_last("elsewhere", 10, "no")


def test_two_streams_at_once_keep_apart(archive):
    slow, fast = Feed(archive, stream(stream_id="slow")), Feed(archive, stream(2000.0, stream_id="fast"))
    for second in range(1, 40):
        slow.to(second)
        fast.to(second)
    slow.cut("slow cut", 38.0, 42.0)
    fast.cut("fast cut", 39.0, 42.0)
    archive.end_stream("slow")
    archive.end_stream("fast")
    archive.flush()
    assert audio_span(archive, "slow cut") == (25_000, 42_000)
    assert audio_span(archive, "fast cut") == (50_000, 84_000)


def test_a_cut_announced_after_its_end_margin_is_still_whole(archive):
    feed = Feed(archive)
    feed.to(60.0)
    feed.cut("late", 30.0, 32.0)
    feed.to(61.0)
    archive.flush()
    assert audio_span(archive, "late") == (20 * ROUND, 35 * ROUND)


def test_a_cut_may_end_after_its_stream(archive):
    feed = Feed(archive)
    feed.to(15.0)
    archive.start_cut("cut", "stream", 14 * ROUND, {})
    archive.end_stream("stream")
    archive.end_cut("cut", 15 * ROUND, [(14 * ROUND, 15 * ROUND)], [], {}, "0", "h")
    archive.flush()
    assert audio_span(archive, "cut") == (0, 15 * ROUND)


def test_blocks_of_another_form_are_refused(archive):
    feed = Feed(archive)
    with pytest.raises(ValueError, match="int24"):
        archive.append(block_between(0, 10, stream(code_format="int24")))
    with pytest.raises(ValueError, match="channels"):
        archive.append(block_between(0, 10, stream(channels=2)))
    with pytest.raises(StoreError, match="not running"):
        archive.append(block_between(0, 10, stream(stream_id="other")))
    feed.to(1.0)


@pytest.mark.parametrize("ended", [False, True])
def test_what_lies_around_a_mark_is_taken_from_the_rolling_buffer(archive, ended):
    feed = Feed(archive)
    feed.to(100.0)
    archive.mark_moment("mark", "stream", 40 * ROUND, "")
    if ended:
        archive.end_stream("stream")
    archive.flush()
    assert archive.buffered("stream") == (0, 100 * ROUND) and archive.buffered("elsewhere") is None
    archive.keep_around("stream", 10 * ROUND, -20 * ROUND, 70 * ROUND, "around")
    archive.flush()
    (kept,) = archive.kept_recordings()
    assert kept["filed"] and not kept["keep"] and kept["marks"][0]["t_s"] == 40.0
    found = read_codes(archive.kept_audio_path("around"), feed.info)
    np.testing.assert_array_equal(found, codes_between(0, 70 * ROUND, feed.info))
    assert len(archive.kept_features("around")["t_s"]) == 700
    with pytest.raises(SettingError, match="not there any more"):
        # of the minute about it some is left, but not the moment itself
        archive.keep_around("stream", -5 * ROUND, -65 * ROUND, 25 * ROUND, "rolled over")
    with pytest.raises(SettingError, match="not there any more"):
        archive.keep_around("stream", 250 * ROUND, 200 * ROUND, 300 * ROUND, "late")
    with pytest.raises(SettingError, match="not there any more"):
        archive.keep_around("elsewhere", 50 * ROUND, 0, 300 * ROUND, "never")


def test_what_lies_around_a_mark_is_there_after_a_restart_while_the_buffer_lasts(open_archive):
    archive = open_archive()
    feed = Feed(archive)
    feed.to(100.0)
    archive.mark_moment("mark", "stream", 40 * ROUND, "what was that")
    archive.close()
    again = open_archive()
    assert again.buffered("stream") == (0, 100 * ROUND)
    again.keep_around("stream", 40 * ROUND, -20 * ROUND, 70 * ROUND, "around")
    again.flush()
    (kept,) = again.kept_recordings()
    assert kept["filed"] and kept["marks"][0]["note"] == "what was that"
    found = read_codes(again.kept_audio_path("around"), feed.info)
    np.testing.assert_array_equal(found, codes_between(0, 70 * ROUND, feed.info))
    assert len(again.kept_features("around")["t_s"]) == 700
    again.close()
    # the rolling recording was switched off meanwhile: what is taken out of it stays, the rest is gone
    later = open_archive(buffer_s=0.0)
    later.flush()
    assert later.buffered("stream") is None and later.kept_audio_path("around").is_file()
    with pytest.raises(SettingError, match="not there any more") as caught:
        later.keep_around("stream", 90 * ROUND, 30 * ROUND, 100 * ROUND, "too late")
    assert "within the minutes" in caught.value.hint
