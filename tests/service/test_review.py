"""A cut looked at afterwards: really logged and stored, damaged, missing, and asked for what cannot be."""

import itertools
import json
import shutil
import struct

import numpy as np
import pytest
import soundfile as sf
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from shopmon.capture.recording import RecordingSource
from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.scenarios import scenario
from shopmon.errors import RecordingError, SettingError
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.records.archive import Archive
from shopmon.service.inspection import inspect_recording
from shopmon.service.monitor import Monitor
from shopmon.service.review.overview import sound_figures
from shopmon.service.review.picture import View, parts_figures
from shopmon.service.review.review import CutReview
from shopmon.service.settings import Settings
from tests.waiting import until

RATE_HZ = 48_000


def view(**asked):
    usual = {
        "from_s": 0.0,
        "to_s": 20.0,
        "columns": 200,
        "rows": 250,
        "low": 0.0,
        "high": 5000.0,
        "axis": "hertz",
    }
    return View(**{**usual, **asked})


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A monitor that has logged one simulated pass with chatter, and kept its last seconds by hand."""
    folder = tmp_path_factory.mktemp("shop")
    samples, truth = render(scenario("pass-that-rings"), 1)
    path = folder / "pass.wav"
    sf.write(path, np.concatenate((samples, samples[: 4 * RATE_HZ])), RATE_HZ, subtype="PCM_16")
    archive = Archive.open(folder / "data", budget_bytes=10**10, buffer_s=600)
    told = {name: truth["spindle"][name] for name in ("nominal_rpm", "flutes")}

    class Slowly(RecordingSource):
        def blocks(self, stop):
            for number, item in enumerate(super().blocks(stop)):
                if number % 10 == 0:
                    archive.flush(filing=False)
                yield item

    monitor = Monitor(Slowly(path, real_time=False, source_id="bench"), archive, Settings(), Setup(**told))
    monitor.start()
    assert monitor.engine_finished.wait(120)
    archive.flush()
    until(lambda: all(not cut["audio_pending"] for cut in monitor.cuts()), "for the sound to be filed")
    yield monitor
    monitor.close()


@pytest.fixture
def cut(shop):
    return next(cut for cut in shop.cuts() if cut["chatter"])


def heard(review, cut_id, at_s):
    until(lambda: review.moment(cut_id, at_s)["explanation"]["status"] != "thinking", "for the listener")
    return review.moment(cut_id, at_s)


def test_the_lanes_say_what_was_logged(shop, cut):
    told = shop.review.lanes(cut["id"], None, None, 500)
    assert told["schema"] == "shopmon.lanes/1" and told["messages"] == []
    assert told["engaged"] == cut["engaged"] and len(told["chatter"]) == len(cut["chatter"])
    stored = shop.features(cut["id"])
    assert told["rpm"] == pytest.approx(cut["rpm"], rel=0.01)
    assert max(level for level in told["figures"]["stray_db"] if level is not None) == pytest.approx(
        np.nanmax(stored["stray_db"]), abs=0.06
    )
    # the level of the sound is the one scipy's periodogram adds up to
    sound, _ = sf.read(shop.audio_path(cut["id"]), dtype="float64")
    near = shop.review.lanes(cut["id"], 2.0, 4.0, 2)["sound"]
    _, density = signal.periodogram(sound[2 * RATE_HZ : 3 * RATE_HZ], RATE_HZ, detrend="constant")
    assert near["level_db"][0] == pytest.approx(10 * np.log10(2 * density.sum()), abs=0.1)
    assert near["high"][0] == pytest.approx(sound[2 * RATE_HZ : 3 * RATE_HZ].max(), abs=1e-4)


def test_the_chatter_is_in_the_picture_where_it_was_found(shop, cut):
    ring = cut["chatter"][0]
    box = shop.review.lanes(cut["id"], None, None, 100)["strays"][0]
    assert box["low_hz"] < ring["frequency_hz"] < box["high_hz"]
    middle = (ring["start_s"] + ring["end_s"]) / 2
    seen = shop.review.picture(cut["id"], view(from_s=middle - 1, to_s=middle + 1, columns=20))
    row = int(ring["frequency_hz"] / 20)
    loudest = -100 + 0.4 * seen.codes[:, row - 1 : row + 2].max(axis=1)
    assert np.median(loudest) == pytest.approx(ring["level_db"], abs=4)
    assert not seen.rough
    # before the cut nothing rings there
    before = shop.review.picture(cut["id"], view(from_s=0.0, to_s=cut["start_s"] * 0.8, columns=20))
    assert np.median(before.codes[:, row]) < seen.codes[:, row].max() - 25


def test_over_orders_the_comb_lies_on_whole_numbers(shop, cut):
    start = cut["engaged"][0][0] + 0.5
    asked = view(from_s=start, to_s=start + 1, columns=10, rows=300, high=30.0, axis="orders")
    held = shop.review.picture(cut["id"], asked).codes.astype(float).mean(axis=0)
    lines = [held[10 * order - 1 : 10 * order + 2].max() for order in range(3, 28, 3)]
    between = [held[10 * order + 4 : 10 * order + 7].mean() for order in range(3, 28, 3)]
    assert np.mean(lines) > np.mean(between) + 20


def test_a_moment_is_explained_as_inspect_explains_it(shop, cut):
    ring = cut["chatter"][0]
    at_s = (ring["start_s"] + ring["end_s"]) / 2
    told = heard(shop.review, cut["id"], at_s)
    assert told["explanation"]["status"] == "ready", told["explanation"]
    counted = [line for line in told["lines"] if line["counts"]]
    assert any(abs(line["frequency_hz"] - ring["frequency_hz"]) < 12 for line in counted)
    assert {"tooth passing", "stray"} <= {line["what"] for line in told["lines"]}
    end_s = told["explanation"]["at_s"]
    moment = inspect_recording(
        shop.audio_path(cut["id"]), setup=Setup(), settings=ListenerSettings(), at_s=end_s + 0.001
    )["moment"]
    assert told["explanation"]["state"] == moment["state"]
    assert told["explanation"]["suspect_hz"] == moment["suspect_hz"]
    assert told["explanation"]["evidence"]["total"] == pytest.approx(moment["evidence"]["total"], abs=1e-6)


def test_what_is_left_without_the_teeth_has_no_comb_and_all_of_the_ringing(shop, cut):
    left = shop.review.part_of_sound(cut["id"], "left")
    strays = shop.review.part_of_sound(cut["id"], "strays")
    sound, _ = sf.read(shop.audio_path(cut["id"]), dtype="int16")
    assert left.size == strays.size == 44 + 2 * len(sound)
    ring = cut["chatter"][0]
    first = int((ring["start_s"] + 0.5) * RATE_HZ)
    piece = slice(first, first + RATE_HZ)

    def power(samples, frequency_hz):
        frequency, density = signal.periodogram(samples.astype(float) / 32768, RATE_HZ, window="hann")
        return 10 * np.log10(density[np.abs(frequency - frequency_hz) < 12].sum())

    rotation_hz = cut["rpm"] / 60
    passing_hz = rotation_hz * shop.context()["flutes"]
    without, alone = left.samples(piece.start, piece.stop), strays.samples(piece.start, piece.stop)
    assert power(without, passing_hz) < power(sound[piece], passing_hz) - 12
    assert power(without, ring["frequency_hz"]) > power(sound[piece], ring["frequency_hz"]) - 1
    assert power(alone, ring["frequency_hz"]) == pytest.approx(power(without, ring["frequency_hz"]), abs=1.5)
    assert power(alone, passing_hz) < power(sound[piece], passing_hz) - 30


def test_a_part_of_the_sound_is_a_wav_file_in_any_pieces(shop, cut):
    part = shop.review.part_of_sound(cut["id"], "left")
    whole = part.read(0, 44 + 6 * RATE_HZ)
    assert whole[:4] == b"RIFF" and struct.unpack("<I", whole[40:44])[0] == part.size - 44
    rng = np.random.default_rng(1)
    for first in rng.integers(0, len(whole) - 1, 12):
        end = int(rng.integers(first, len(whole)))
        assert part.read(int(first), end) == whole[first:end]
    assert len(part.read(part.size - 10, part.size + 99)) == 10


def test_what_is_not_there_is_none_and_what_cannot_be_says_so(shop, cut):
    review = shop.review
    assert review.lanes("nothing", None, None, 100) is None
    assert review.picture("nothing", view()) is None
    assert review.moment("../../etc/passwd", 1.0) is None
    assert review.part_of_sound("nothing", "left") is None
    for action in (
        lambda: review.lanes(cut["id"], 5.0, 5.0, 100),
        lambda: review.lanes(cut["id"], float("nan"), 5.0, 100),
        lambda: review.picture(cut["id"], view(low=9.0, high=3.0)),
        lambda: review.moment(cut["id"], 1e9),
        lambda: review.moment(cut["id"], float("inf")),
        lambda: review.part_of_sound(cut["id"], "<script>"),
    ):
        with pytest.raises(SettingError):
            action()


class Moved:
    """The log of a shop whose files somebody else put elsewhere."""

    def __init__(self, shop, sound, features):
        self._shop, self._sound, self._features = shop, sound, features

    def __getattr__(self, name):
        return getattr(self._shop, name)

    def audio_path(self, cut_id):
        return self._sound

    def features(self, cut_id):
        return self._features()


@pytest.fixture
def moved(shop, cut, tmp_path):
    """Open the cut with its sound and figures replaced; what is opened is closed again."""
    opened = []
    path = tmp_path / "copy.flac"
    shutil.copy(shop.audio_path(cut["id"]), path)

    def open_(change=lambda path: None, features=lambda: shop.features(cut["id"])):
        change(path)
        opened.append(CutReview(Moved(shop, path, features), tmp_path / "pictures", 10**9))
        return opened[-1]

    yield open_
    for review in opened:
        review.close()


def cut_in_two(path):
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def overwritten(path):
    raw = bytearray(path.read_bytes())
    raw[len(raw) // 2 : len(raw) // 2 + 20_000] = b"\x55" * 20_000
    path.write_bytes(raw)


def test_a_recording_that_is_cut_short_or_damaged_is_shown_as_far_as_it_goes(moved, cut):
    for change in (cut_in_two, overwritten):
        review = moved(change)
        assert review.picture(cut["id"], view()).codes.any()
        told = review.lanes(cut["id"], None, None, 200)
        assert "damaged" in " ".join(told["messages"])
        assert told["figures"]["rpm"]
        review.part_of_sound(cut["id"], "left").read(0, 100_000)


@pytest.mark.parametrize("change", [lambda path: path.write_bytes(b"x" * 999), lambda path: path.unlink()])
def test_without_a_readable_recording_the_lanes_are_there_all_the_same(moved, cut, change):
    review = moved(change)
    told = review.lanes(cut["id"], None, None, 200)
    assert told["figures"]["rpm"] and told["engaged"] and told["sound"] is None
    assert len(told["messages"]) == 1
    for action in (
        lambda: review.picture(cut["id"], view()),
        lambda: review.moment(cut["id"], 1.0),
        lambda: review.part_of_sound(cut["id"], "left"),
    ):
        with pytest.raises(RecordingError):
            action()


def torn():
    raise RecordingError("The file of figures is torn.")


@pytest.mark.parametrize("features", [torn, lambda: None])
def test_without_figures_the_picture_is_there_all_the_same(moved, cut, features):
    review = moved(features=features)
    told = review.lanes(cut["id"], None, None, 200)
    assert len(told["messages"]) == 1 and "figures" in told["messages"][0].lower()
    assert told["sound"]["level_db"] and told["engaged"]
    # the speed of the whole cut still makes orders of it
    assert review.picture(cut["id"], view(axis="orders", high=30.0)).codes.any()


def long_cut(folder, seconds=200):
    """Write a long recording with one short ringing at 150 s; return a log that knows it."""
    time = np.arange(seconds * 16_000) / 16_000
    sound = 0.001 * np.random.default_rng(1).standard_normal(time.size)
    sound += 0.1 * np.sin(2 * np.pi * 1437 * time) * (np.abs(time - 150) < 0.1)
    sf.write(folder / "long.flac", sound, 16_000, subtype="PCM_16")
    row = {
        "id": "long", "start_s": 10.0, "end_s": seconds - 3.0, "rpm": None, "engaged": [], "chatter": [],
        "marks": [], "stray": [], "context": {}, "ended": True, "audio": "there", "audio_removed": False,
    }  # fmt: skip

    class Log:
        def cut(self, cut_id):
            return row if cut_id == "long" else None

        def audio_path(self, cut_id):
            return folder / "long.flac"

        def features(self, cut_id):
            return None

        def kept(self):
            return []

    return Log()


def test_a_long_recording_is_rough_first_and_then_whole_and_kept(tmp_path):
    log = long_cut(tmp_path)
    whole = view(to_s=256.0, columns=64)
    review = CutReview(log, tmp_path / "pictures", 10**9)
    assert review.picture("long", whole).rough
    assert review.pictures.open(tmp_path / "long.flac").wait(60)
    seen = review.picture("long", whole)
    assert not seen.rough
    row = int(1437 / 20)
    ringing = np.flatnonzero(-100 + 0.4 * seen.codes[:, row] > -22)
    assert ringing.tolist() == [37], "0.2 s of ringing shows in 200 s of sound"
    assert not seen.codes[51:].any(), "after the end there is nothing"
    assert review.lanes("long", None, None, 100)["sound"]["level_db"]
    review.close()
    again = CutReview(log, tmp_path / "pictures", 10**9)
    assert (again.picture("long", whole).codes == seen.codes).all(), "from the disk at once"
    again.close()


def test_a_damaged_picture_on_the_disk_is_made_again(tmp_path):
    log = long_cut(tmp_path)
    review = CutReview(log, tmp_path / "pictures", 10**9)
    review.picture("long", view(to_s=256.0, columns=64))
    assert review.pictures.open(tmp_path / "long.flac").wait(60)
    review.close()
    (folder,) = (tmp_path / "pictures").iterdir()
    for content in (b"", b"\x93NUMPY garbage", json.dumps({"schema": "shopmon.picture/1"}).encode()):
        for file in folder.iterdir():
            file.write_bytes(content)
        again = CutReview(log, tmp_path / "pictures", 10**9)
        assert again.picture("long", view(to_s=256.0, columns=64)).rough
        again.close()


def test_a_mark_in_no_cut_is_opened_from_the_rolling_buffer(shop):
    rows = shop.archive.cuts()
    stream_id, rate_hz = rows[0]["stream_id"], rows[0]["sample_rate_hz"]
    covered_to = max(shop.archive.cut(row["id"])["recording_first_sample"] for row in rows)
    last = shop.archive.buffered(stream_id)[1]
    shop.archive.mark_moment("lone", stream_id, last + round(rate_hz), "after all cuts")
    shop.archive.mark_moment("inside", stream_id, covered_to + round(rate_hz), "in a cut")
    shop.archive.flush()
    assert shop.open_mark("inside")["cut_id"] in {row["id"] for row in rows}
    found = shop.open_mark("lone")
    shop.archive.flush()
    until(lambda: shop.kept() and shop.kept()[0]["audio"], "for the sound to be filed")
    told = shop.review.lanes(found["kept_id"], None, None, 100)
    assert told["figures"]["t_s"] and told["messages"] == []
    assert shop.review.picture(found["kept_id"], view(to_s=10.0)).codes.any()
    assert shop.open_mark("nothing") is None


@given(
    counts=st.lists(st.integers(0, 40), min_size=1, max_size=30),
    seed=st.integers(0, 9999),
    offset=st.floats(-0.5, 0.5),
)
def test_figures_of_many_parts_are_those_of_each(counts, seed, offset):
    edges = np.concatenate(([0], np.cumsum(counts)))
    samples = np.random.default_rng(seed).uniform(-1.0, 1.0, int(edges[-1])).astype(np.float32)
    samples = np.clip(samples + np.float32(offset), -1, 1)
    low, high, level_db, clipped = parts_figures(samples, edges)
    for at, (first, end) in enumerate(itertools.pairwise(edges)):
        part = samples[first:end]
        peak, expected_db, share = sound_figures(part)
        assert max(abs(low[at]), abs(high[at])) == pytest.approx(peak)
        assert clipped[at] == pytest.approx(share)
        if expected_db > -80:  # one sample has no level, but for rounding
            assert level_db[at] == pytest.approx(expected_db, abs=0.01)
