"""The microphone's coming and going, with a scripted sound system and a clock that the test moves."""

import threading

import numpy as np
import pytest

from shopmon.capture.microphone import RETRY_S, STALLED_S, MicrophoneSource
from shopmon.capture.polled import TURN_S
from shopmon.capture.portaudio import BLOCK_FRAMES
from shopmon.capture.source import SourceNotice
from shopmon.errors import DeviceError
from shopmon.signals.block import Block
from tests.capture.scripted_driver import RATE, HandClock, ScriptedDriver

BLOCK_S = BLOCK_FRAMES / RATE


class Bench:
    """A microphone source on a scripted driver, run turn by turn."""

    def __init__(self, device="USB", **options):
        driver_options = {key: options.pop(key) for key in ("code_format", "channels") if key in options}
        self.clock = HandClock()
        self.driver = ScriptedDriver(self.clock, **driver_options)
        self.source = MicrophoneSource(device, driver=self.driver, clock=self.clock, **options)
        self.items = []

    def turn(self, **delivery):
        if delivery:
            self.driver.deliver(**delivery)
        got = list(self.source.turn(self.clock()))
        self.items += got
        return got

    def run(self, seconds, playing=True, **delivery):
        """Let time pass, in steps of a block while playing and of a turn while not."""
        until_s, got = self.clock() + seconds, []
        while self.clock() < until_s:
            self.clock.now_s += BLOCK_S if playing else TURN_S
            got += self.turn(**({"blocks": 1} | delivery if playing else {}))
        return got

    def open(self):
        self.turn()
        self.turn()
        assert self.source.format is None
        return self.run(0.1)

    @property
    def blocks(self):
        return [item for item in self.items if isinstance(item, Block)]

    @property
    def notices(self):
        return [item.code for item in self.items if isinstance(item, SourceNotice)]


def test_opens_and_delivers_what_came():
    bench = Bench()
    bench.open()
    bench.run(1.0)
    assert isinstance(bench.items[0], SourceNotice)
    assert bench.notices == ["device-opened"]
    codes = np.concatenate([block.codes for block in bench.blocks])[:, 0]
    assert np.array_equal(codes, np.arange(len(codes)) % 30_000)
    assert [block.first_sample // BLOCK_FRAMES for block in bench.blocks] == list(range(len(bench.blocks)))
    assert len({block.stream_id for block in bench.blocks}) == 1
    assert bench.source.format.name == "USB Mic (hw:1,0)"
    assert bench.source.format.sample_rate_hz == RATE


def test_a_device_that_goes_quiet_is_lost_within_two_seconds_and_comes_back():
    bench = Bench()
    bench.open()
    bench.driver.present = False
    gone_s = bench.clock()
    while "device-lost" not in bench.notices:
        bench.run(TURN_S, playing=False)
    assert bench.clock() - gone_s < 1.2
    assert bench.source.format is None
    assert bench.driver.closed == [bench.driver.stream]
    bench.run(5.0, playing=False)
    assert bench.notices == ["device-opened", "device-lost"]  # said once, not at every attempt
    assert 4 <= len(bench.driver.requests) - 1 <= 6
    bench.driver.present = True
    bench.run(RETRY_S + 4 * TURN_S, playing=False)
    bench.driver.sent = 0
    bench.run(1.0)
    assert bench.notices == ["device-opened", "device-lost", "device-returned"]
    streams = list(dict.fromkeys(block.stream_id for block in bench.blocks))
    assert len(streams) == 2
    assert next(block for block in bench.blocks if block.stream_id == streams[1]).first_sample == 0


def test_a_stream_that_ends_by_itself_is_lost_at_once_but_not_what_it_had():
    bench = Bench()
    bench.open()
    before = len(bench.blocks)
    bench.driver.deliver(3)
    bench.driver.stream.intake.finish()
    bench.turn()
    assert len(bench.blocks) == before + 3
    assert bench.notices[-1] == "device-lost"


def test_missing_at_the_start_is_said_first_and_then_waited_for():
    bench = Bench()
    bench.driver.present = False
    bench.turn()
    assert [item.code for item in bench.turn()] == ["device-lost"]
    assert bench.items[0].hint == "There is: 0 = webcam."
    bench.driver.present = True
    bench.run(RETRY_S + 4 * TURN_S, playing=False)
    bench.run(0.1)
    assert bench.notices == ["device-lost", "device-opened"]


def test_a_device_that_opens_but_stays_mute_is_lost_too():
    bench = Bench()
    bench.run(4.5, playing=False)
    assert bench.notices == []
    bench.run(1.0, playing=False)
    assert bench.notices == ["device-lost"]
    assert "delivers no sound" in bench.items[0].text
    bench.run(30, playing=False)
    assert bench.notices == ["device-lost"]


def test_a_sound_system_that_hangs_is_said_once_and_used_again_if_it_recovers():
    bench = Bench()
    bench.open()
    bench.driver.hangs = True
    bench.run(1.2, playing=False)
    assert bench.notices == ["device-opened", "device-lost"]
    bench.run(STALLED_S + 30, playing=False)
    assert bench.notices == ["device-opened", "device-lost", "device-stalled"]
    assert "restart" in bench.items[-1].hint
    assert len(bench.driver.requests) == 1  # nothing is opened while the old stream holds on
    bench.driver.hangs = False
    bench.driver.calls[-1].done = True
    bench.run(4 * TURN_S, playing=False)
    bench.run(0.1)
    assert bench.notices[-1] == "device-returned"


def test_opening_that_hangs_is_said():
    bench = Bench()
    bench.driver.hangs = True
    bench.run(STALLED_S + 1, playing=False)
    assert bench.notices == ["device-stalled"]
    assert "opened" in bench.items[0].text


@pytest.mark.parametrize("device", [None, 3])
def test_the_very_device_is_waited_for(device):
    bench = Bench(device)
    bench.open()
    bench.run(3.0, playing=False)
    assert bench.driver.requests[0].device == device
    assert bench.driver.requests[1].device == "USB Mic, ALSA"


def test_a_name_stays_the_name_that_was_given():
    bench = Bench("USB")
    bench.open()
    bench.run(3.0, playing=False)
    assert {request.device for request in bench.driver.requests} == {"USB"}


def test_a_slow_consumer_loses_nothing_until_the_ring_is_full_then_hears_how_much():
    bench = Bench()
    bench.open()
    before = len(bench.blocks)
    fitting = bench.driver.stream.intake.ring.capacity_frames // BLOCK_FRAMES
    assert fitting * BLOCK_FRAMES >= 10 * RATE
    bench.driver.deliver(fitting)
    assert bench.driver.stream.intake.ring.lost_frames == 0
    bench.driver.deliver(94)  # two seconds and a bit too much
    bench.turn()
    assert len(bench.blocks) == before + fitting
    assert not any(block.quality for block in bench.blocks)
    bench.turn(blocks=1)
    last = bench.blocks[-1]
    assert last.quality.gap == 94 * BLOCK_FRAMES
    assert last.first_sample == bench.blocks[-2].end_sample + last.quality.gap
    assert last.codes[0, 0] == last.first_sample % 30_000
    assert bench.notices[-1] == "consumer-slow"
    assert "2.01 s of sound was lost" in bench.items[-1].text


def test_full_scale_before_and_after_a_loss_is_no_run():
    bench = Bench()
    bench.open()
    edge = np.zeros(BLOCK_FRAMES, np.int16)
    edge[0] = edge[-1] = 32_767
    fitting = bench.driver.stream.intake.ring.capacity_frames // BLOCK_FRAMES
    bench.driver.deliver(fitting - 1)
    bench.driver.deliver(1, codes=edge)
    bench.driver.deliver(1)
    bench.turn()
    bench.turn(blocks=1, codes=edge)
    assert bench.blocks[-1].quality.gap == BLOCK_FRAMES
    assert sum(block.quality.clipped for block in bench.blocks) == 0
    bench.turn(blocks=1, codes=edge)
    assert bench.blocks[-1].quality.clipped == 2


def test_what_came_while_the_last_blocks_were_read_is_not_lost():
    bench = Bench()
    bench.open()
    reading = bench.source.turn(bench.clock())
    bench.driver.deliver(1)
    next(reading)
    bench.driver.deliver(1)
    bench.driver.stream.intake.finish()
    assert [item for item in reading if isinstance(item, SourceNotice)] == []
    (block, notice) = bench.turn()
    assert block.end_sample == bench.driver.stream.intake.ring.offered_frames
    assert notice.code == "device-lost"


@pytest.mark.sound
def test_overflow_is_counted_in_the_block_and_said_now_and_then():
    import sounddevice  # its flags are PortAudio's own

    bench = Bench()
    bench.open()
    overflow = sounddevice.CallbackFlags(2)
    assert overflow.input_overflow
    bench.turn(blocks=1, status=overflow)
    assert bench.blocks[-1].quality.overflow == 1
    assert bench.notices.count("input-overflow") == 1
    bench.run(5.0, status=overflow)
    assert bench.notices.count("input-overflow") == 1
    bench.run(6.0)
    assert bench.notices.count("input-overflow") == 2
    assert "reported lost sound 235 times" in next(
        item.text for item in reversed(bench.items) if isinstance(item, SourceNotice)
    )
    assert bench.blocks[-1].quality.overflow == 0
    bench.turn(blocks=1, status=sounddevice.CallbackFlags(4))  # output underflow is none of ours
    assert bench.blocks[-1].quality.overflow == 0


def test_clipping_and_standing_still_are_said():
    bench = Bench()
    bench.open()
    bench.turn(blocks=1, codes=np.full(BLOCK_FRAMES, 32_767, np.int16))
    assert bench.blocks[-1].quality.clipped == BLOCK_FRAMES
    bench.run(3.0, codes=np.zeros(BLOCK_FRAMES, np.int16))
    assert bench.notices == ["device-opened", "input-silent"]
    bench.run(0.1)
    assert bench.notices == ["device-opened", "input-silent", "input-back"]


def test_sound_that_went_missing_without_a_word_is_found_by_the_clock():
    bench = Bench()
    bench.open()
    bench.run(3.0)
    bench.clock.now_s += 0.8
    bench.run(4.0)
    assert bench.notices == ["device-opened", "input-late"]
    assert "0.80 s" in next(item.text for item in bench.items if getattr(item, "code", "") == "input-late")


def test_wide_codes_of_two_channels():
    bench = Bench(code_format="int24", channels=2, sensor="accelerometer")
    bench.turn()
    bench.turn()
    frame = (-5).to_bytes(3, "little", signed=True) + (2**23 - 1).to_bytes(3, "little", signed=True)
    bench.driver.stream.intake.callback(frame * BLOCK_FRAMES, BLOCK_FRAMES, None, None)
    bench.turn()
    (block,) = bench.blocks
    assert block.codes.tolist() == [[-5, 2**23 - 1]] * BLOCK_FRAMES
    assert block.quality.clipped == BLOCK_FRAMES
    assert {channel.kind for channel in block.channels} == {"accelerometer"}


def test_what_was_asked_for_and_not_got_is_said():
    bench = Bench(sample_rate_hz=96_000)
    bench.open()
    assert "(96000 Hz was asked for)" in bench.items[0].text


def test_closing_releases_the_stream_once():
    bench = Bench()
    bench.open()
    bench.source.close()
    bench.source.close()
    assert bench.driver.closed == [bench.driver.stream]
    assert not bench.driver.left_behind
    assert list(bench.source.blocks(threading.Event())) == []


def test_closing_while_the_sound_system_hangs_leaves_it_behind():
    bench = Bench()
    bench.open()
    bench.driver.hangs = True
    bench.run(1.2, playing=False)
    bench.source.close()
    assert bench.driver.left_behind
    assert len(bench.driver.closed) == 1


def test_closing_while_opening_closes_what_still_opens():
    bench = Bench()
    bench.turn()
    bench.source.close()
    assert bench.driver.closed == [bench.driver.stream]


def test_without_portaudio_there_is_no_source():
    class Broken(ScriptedDriver):
        def load(self):
            raise DeviceError("The PortAudio library was not found.", "Install it.")

    with pytest.raises(DeviceError, match="PortAudio"):
        MicrophoneSource(driver=Broken(HandClock()))
