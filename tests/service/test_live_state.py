"""The present moment as the pages show it."""

import base64

import numpy as np
import pytest

from shopmon.capture.source import SourceFormat, SourceNotice
from shopmon.listening.events import ChatterSpan, CutSpan, Frame, State, StrayTone
from shopmon.service.live_state import LiveState, NoticeBoard, spectrum_message
from shopmon.signals.block import Block, Channel, Quality

RATE_HZ = 48_000
FORM = SourceFormat(
    source_id="mic", name="USB", sample_rate_hz=RATE_HZ, channels=(Channel(),), code_format="int16"
)
TWO_ENGAGEMENTS = CutSpan(
    number=0,
    start_sample=0,
    end_sample=10 * RATE_HZ,
    engaged=((0, RATE_HZ), (2 * RATE_HZ, 10 * RATE_HZ)),
)


def frame(**changes):
    told = {
        "sample": 10 * RATE_HZ,
        "state": State.CUTTING,
        "unsure": False,
        "rpm": 10_868.04,
        "rpm_confidence": 0.98,
        "level_db": -30.0,
        "peak_db": -20.0,
        "comb_db": -31.0,
        "stray_db": None,
        "engaged": True,
        "stray": (),
        "cut": TWO_ENGAGEMENTS,
        "chatter": None,
        "spectrum_db": np.full(1000, -60.0, dtype=np.float32),
        "spectrum_step_hz": 8.0,
    }  # fmt: skip
    return Frame(**(told | changes))


@pytest.fixture
def live():
    state = LiveState()
    state.stream_started(FORM)
    return state


def test_before_any_sound_there_is_no_input():
    told = LiveState().as_dict()
    assert told["state"] == "no-input"
    assert told["rpm"] is None and told["input"]["present"] is False


def test_the_cut_clock_counts_engagements_only(live):
    live.take_frame(frame())
    assert live.as_dict()["cut_time_s"] == 9.0


def test_only_a_change_of_the_word_or_its_doubt_is_a_change(live):
    assert live.take_frame(frame())
    assert not live.take_frame(frame(sample=11 * RATE_HZ, rpm=10_000.0))
    assert live.take_frame(frame(unsure=True))
    assert live.take_frame(frame(state=State.AIR_CUT, unsure=True))


def test_chatter_carries_its_figures(live):
    span = ChatterSpan(
        start_sample=9 * RATE_HZ,
        end_sample=10 * RATE_HZ,
        alarm_sample=int(9.5 * RATE_HZ),
        frequency_hz=1432.61,
        level_db=-23.11,
        severity="clear",
        kind="quasi-periodic",
        confidence=0.98,
    )
    tone = StrayTone(frequency_hz=1432.61, level_db=-23.1, above_comb_db=4.0, since_sample=0, why="alone")
    live.chatter_id = "e1"
    live.take_frame(frame(state=State.CHATTER, chatter=span, stray=(tone,)))
    told = live.as_dict()
    assert told["chatter"] == {
        "event_id": "e1",
        "frequency_hz": 1432.6,
        "level_db": -23.1,
        "severity": "clear",
        "since_s": 1.0,
    }
    assert told["stray"][0]["why"] == "alone"


def test_a_lost_device_is_no_input_until_it_returns(live):
    live.take_frame(frame())
    assert live.source_notice(SourceNotice(code="device-lost", text="Gone.", hint="Plug it in."))
    told = live.as_dict()
    assert told["state"] == "no-input" and told["input"]["text"] == "Gone."
    assert [notice["code"] for notice in told["notices"]] == ["device-lost"]
    live.source_notice(SourceNotice(code="device-returned", text="Back."))
    live.stream_started(FORM)
    live.take_frame(frame(sample=RATE_HZ))
    told = live.as_dict()
    assert told["state"] == "cutting" and told["notices"] == []


def test_a_notice_fades_with_the_sound_that_passes():
    board = NoticeBoard()
    assert board.post("a", "A.", "", 5.0)
    assert not board.post("a", "A again.", "", 8.0)
    board.post("stays", "S.", "", None)
    board.expire(7.9)
    assert [notice["text"] for notice in board.as_list()] == ["A again.", "S."]
    board.expire(8.0)
    assert [notice["code"] for notice in board.as_list()] == ["stays"]


def test_the_meter_counts_what_the_blocks_report(live):
    codes = np.zeros((RATE_HZ, 1), dtype=np.int16)
    for first, quality in (
        (0, Quality()),
        (RATE_HZ + 480, Quality(gap=480, overflow=2, clipped=RATE_HZ // 2)),
    ):
        live.meter.take(
            Block(
                codes=codes, code_format="int16", sample_rate_hz=RATE_HZ, first_sample=first,
                source_id="mic", stream_id="s", channels=(Channel(),), quality=quality,
            )
        )  # fmt: skip
    told = live.as_dict()["input"]
    assert (told["gaps"], told["overflows"], told["lost_s"]) == (1, 2, 0.01)
    assert told["clipped_fraction"] == pytest.approx(0.25, abs=0.01)


@pytest.mark.parametrize("bins", [1, 1000, 1024, 1025, 4097])
def test_the_spectrum_keeps_its_loudest_lines_at_their_frequency(bins):
    levels = np.full(bins, -100.0, dtype=np.float32)
    loud = bins // 2
    levels[loud] = -20.25
    message = spectrum_message(frame(spectrum_db=levels, spectrum_step_hz=2.0), RATE_HZ, {"flutes": 3})
    codes = np.frombuffer(base64.b64decode(message["bins"]), dtype=np.uint8)
    assert codes.size <= 1024
    shown = message["floor_db"] + message["per_step_db"] * codes
    assert shown.max() == pytest.approx(-20.25, abs=message["per_step_db"])
    assert abs(shown.argmax() * message["step_hz"] - loud * 2.0) < message["step_hz"]
    assert message["flutes"] == 3


def test_another_source_that_is_lost_stays_on_the_board_until_it_is_back():
    live = LiveState()
    live.source_notice(SourceNotice(code="other-lost", text="The board is gone.", hint="See its plug."))
    live.board.expire(1e9)
    assert [notice["code"] for notice in live.as_dict()["notices"]] == ["other-lost"]
    assert live.source_notice(SourceNotice(code="other-returned", text="Listening again to the board."))
    assert live.as_dict()["notices"] == []
