"""From frames to blocks: order, gaps of true length, new streams."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopmon.capture.sampler.assembly import Assembly
from shopmon.signals.block import Block
from shopmon.signals.sensors.tachometer import edge_places
from tests.capture.sampler.boards import SoftBoard, numbers_of


def taken(assembly, frames):
    items = list(assembly.take(frames))
    return [item for item in items if isinstance(item, Block)], [
        item for item in items if not isinstance(item, Block)
    ]


def test_frames_that_follow_become_one_block():
    board, assembly = SoftBoard(), Assembly("a", "board")
    blocks, notices = taken(assembly, [board.frame() for _ in range(10)])
    assert [block.frames for block in blocks] == [320]
    assert blocks[0].first_sample == 0
    assert not notices
    assert assembly.format.sample_rate_hz == 26_667.0
    assert [channel.kind for channel in assembly.format.channels] == ["accelerometer"] * 3
    assert {channel.unit for channel in assembly.format.channels} == {"FS"}


def test_a_stream_is_counted_from_the_first_frame_heard():
    board, assembly = SoftBoard(), Assembly("a", "board")
    board.frame()
    blocks, _ = taken(assembly, [board.frame()])
    assert blocks[0].first_sample == 0
    assert numbers_of(blocks[0].codes)[0] == 32


@given(st.lists(st.sampled_from(["send", "lose", "drop", "twice", "late"]), max_size=60))
def test_every_gap_has_its_true_length(story):
    board, assembly = SoftBoard(frames=8), Assembly("a", "board")
    sent = []
    for what in ["send", *story]:
        if what == "drop":
            board.drop(5)
            continue
        frame = board.frame()
        if what != "lose":
            sent.append(frame)
        if what == "twice":
            sent.append(frame)
        if what == "late" and len(sent) > 1:
            sent.append(sent[-2])
    blocks, notices = taken(assembly, sent)
    assert not notices
    origin = numbers_of(blocks[0].codes)[0]
    end = 0
    for block in blocks:
        index = numbers_of(block.codes)
        assert (index == origin + block.first_sample + np.arange(block.frames)).all()
        assert block.quality.gap == block.first_sample - end
        end = block.end_sample
    assert len({block.stream_id for block in blocks}) == 1


def test_what_the_board_dropped_is_told_from_what_the_line_lost():
    board, assembly = SoftBoard(frames=8), Assembly("a", "board")
    frames = [board.frame()]
    board.drop(100)
    frames.append(board.frame())
    board.frame()
    frames.append(board.frame())
    taken(assembly, frames)
    texts = {notice.code: notice.text for notice in assembly.release(1.0)}
    assert "100 samples" in texts["board-dropped"]
    assert texts["line-lost"].startswith("8 samples")


@pytest.mark.parametrize(
    "change",
    [{}, {"sample_rate_hz": 13_000.0}, {"range_g": 4.0}, {"sensor_id": 5}, {"sample_bytes": 3},
     {"tach_connected": True}],
)  # fmt: skip
def test_a_new_session_is_a_new_stream(change):
    board, assembly = SoftBoard(), Assembly("a", "board")
    frames = [board.frame(), board.frame()]
    board.restart(**change)
    frames += [board.frame()]
    blocks, notices = taken(assembly, frames)
    assert len(blocks) == 2
    assert blocks[0].stream_id != blocks[1].stream_id
    assert blocks[1].first_sample == 0
    assert not blocks[1].quality
    assert [notice.code for notice in notices] == ["board-restarted"]
    assert blocks[1].sample_rate_hz == change.get("sample_rate_hz", 26_667.0)


def test_a_session_that_begins_anew_under_its_old_number_is_not_mistaken():
    """A board whose random numbers repeat: what seems to be of before is left out rather than misplaced."""
    board, assembly = SoftBoard(), Assembly("a", "board")
    frames = [board.frame() for _ in range(50)]
    board.restart(session=1)
    blocks, _ = taken(assembly, [*frames, *(board.frame() for _ in range(3))])
    assert [block.frames for block in blocks] == [1600]
    assert assembly.refused == 3
    blocks, notices = taken(assembly, [board.frame() for _ in range(10)])
    assert [block.first_sample for block in blocks] == [0]
    assert numbers_of(blocks[0].codes)[0] == 7 * 32
    assert [notice.code for notice in notices] == ["board-restarted"]


def test_an_absurd_jump_begins_a_new_stream():
    board, assembly = SoftBoard(), Assembly("a", "board")
    frames = [board.frame()]
    board.position += 10**12
    blocks, notices = taken(assembly, [*frames, board.frame()])
    assert [block.first_sample for block in blocks] == [0, 0]
    assert "not known" in notices[0].text


def test_the_sequence_may_run_over():
    board, assembly = SoftBoard(), Assembly("a", "board")
    board.sequence = 2**32 - 1
    frames = [board.frame()]
    board.sequence = 0
    blocks, _ = taken(assembly, [*frames, board.frame()])
    assert [block.frames for block in blocks] == [64]


def test_pulses_become_a_column():
    board, assembly = SoftBoard(tach_connected=True, edges=(3.25, 20.5)), Assembly("a", "board")
    (block,), _ = taken(assembly, [board.frame(), board.frame()])
    assert [channel.kind for channel in block.channels] == ["accelerometer"] * 3 + ["tachometer"]
    assert block.samples().shape == (64, 3)
    places = edge_places(block.tach_codes, block.first_sample)
    assert places == pytest.approx([3.25, 20.5, 35.25, 52.5], abs=0.01)


def test_24_bit_codes_and_clipping():
    board = SoftBoard(sample_bytes=3)
    frame = board.frame()
    loud = np.full((32, 3), 2**23 - 1, np.int32)
    from tests.capture.sampler.boards import with_codes

    (block,), _ = taken(Assembly("a", "board"), [with_codes(frame, loud)])
    assert block.code_format == "int24"
    assert block.samples().max() == pytest.approx(1.0, abs=1e-6)
    assert block.quality.clipped == 96


def test_a_stuck_sensor_is_told():
    board, assembly = SoftBoard(frames=1000), Assembly("a", "board")
    from tests.capture.sampler.boards import with_codes

    still = np.zeros((1000, 3), np.int16)
    notices = []
    for _ in range(60):
        notices += taken(assembly, [with_codes(board.frame(), still)])[1]
    assert [notice.code for notice in notices] == ["input-silent"]


@pytest.mark.parametrize("rate_hz", [1.0, 400.0, 999.0])
def test_a_board_that_is_too_slow_to_be_heard_is_said_once(rate_hz):
    board, assembly = SoftBoard(sample_rate_hz=rate_hz), Assembly("a", "board")
    blocks, notices = taken(assembly, [board.frame() for _ in range(5)])
    assert blocks == []
    assert [notice.code for notice in notices] == ["rate-unfit"]
    board.restart(sample_rate_hz=26_667.0)
    assert len(taken(assembly, [board.frame()])[0]) == 1


@pytest.mark.parametrize("range_g", [0.001, 0.3, 4_000_000.0])
def test_an_absurd_range_is_said(range_g):
    board, assembly = SoftBoard(range_g=range_g), Assembly("a", "board")
    blocks, notices = taken(assembly, [board.frame(), board.frame()])
    assert len(blocks) == 1
    assert [notice.code for notice in notices] == ["range-absurd"]


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"sample_rate_hz": 13_333.0}, "sample rate from 26667 Hz to 13333 Hz"),
        ({"range_g": 4.0}, "range from ±16 g to ±4 g"),
        ({"sensor_id": 1}, "sensor from IIS3DWB to ADXL345"),
        ({"sensor_id": 200}, "sensor from IIS3DWB to kind 200"),
    ],
)
def test_what_another_session_changed_is_named(change, text):
    board, assembly = SoftBoard(), Assembly("a", "board")
    taken(assembly, [board.frame()])
    board.restart(**change)
    _, (said,) = taken(assembly, [board.frame()])
    assert (said.code, text in said.text, bool(said.hint)) == ("board-restarted", True, True)


def test_a_sensor_that_nobody_knows_is_said_once():
    board = SoftBoard(sensor_id=77)
    _, (said,) = taken(Assembly("a", "board"), [board.frame() for _ in range(3)])
    assert said.text == "The board says that its sensor is of kind 77, which is not known here."
    for own in (0, 200):
        assert taken(Assembly("a", "board"), [SoftBoard(sensor_id=own).frame()])[1] == []


@pytest.mark.parametrize(
    ("temperature_c", "odd"), [(25.0, False), (None, False), (-273.0, True), (300.0, True)]
)
def test_a_temperature_that_cannot_be_is_said_once_and_the_samples_are_kept(temperature_c, odd):
    board = SoftBoard(temperature_c=temperature_c)
    blocks, notices = taken(Assembly("a", "board"), [board.frame() for _ in range(3)])
    assert [notice.code for notice in notices] == (["temperature-absurd"] if odd else [])
    assert sum(block.frames for block in blocks) == 3 * board.frames
