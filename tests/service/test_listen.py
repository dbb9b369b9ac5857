"""The whole monitor on real parts: a virtual microphone through the real PortAudio, seen only over HTTP."""

import io
import threading
import time

import numpy as np
import pytest
import soundfile as sf

from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.scenarios import scenario
from tests.capture.virtual_microphone import VirtualMicrophone
from tests.service.listen_process import ListenProcess

RATE_HZ = 48_000


@pytest.fixture(scope="module")
def ringing_pass():
    """A simulated pass that begins to chatter midway, as int16, with its truth."""
    samples, truth = render(scenario("pass-that-rings"), 3)
    return np.round(samples * 32767).astype("<i2"), truth


def _in_order(wanted, seen):
    rest = iter(seen)
    return all(state in rest for state in wanted)


def _watch(listening, seconds, until):
    """Follow the stream until a state satisfies `until`; return every state word in order."""
    words = []
    for kind, data in listening.stream(seconds):
        if kind == "state":
            words.append(data["state"])
            if until(data, words):
                return words
    raise AssertionError(f"not seen within {seconds} s: {words}")


def _silence_after(pcm, seconds):
    """The pass, then idle spindle for long enough to see it settle."""
    tail = pcm[-int(2 * RATE_HZ) :]
    return np.concatenate([pcm, *[tail] * int(seconds / 2)])


@pytest.mark.sound
def test_a_ringing_pass_is_seen_logged_and_recorded(tmp_path, ringing_pass):
    pcm, truth = ringing_pass
    played = _silence_after(pcm, 24)
    setup = ["--rpm", str(truth["spindle"]["nominal_rpm"]), "--flutes", str(truth["spindle"]["flutes"])]
    with (
        VirtualMicrophone(tmp_path, played) as microphone,
        ListenProcess(
            tmp_path / "data",
            "--source",
            "mic",
            "--device",
            microphone.device,
            *setup,
            environment=microphone.env,
        ) as listening,
    ):
        microphone.start()
        listening.wait_until_served()
        seen = _watch(
            listening,
            len(played) / RATE_HZ,
            lambda data, words: "chatter" in words and data["state"] == "spinning",
        )
        assert _in_order(["spinning", "cutting", "chatter", "spinning"], seen), seen
        cuts = _wait_for(lambda: _with_audio(listening))
        sound, rate = sf.read(io.BytesIO(listening.get_bytes(cuts[0]["audio"])), dtype="int16")
        state = listening.get("/api/state")
        assert listening.stop() == 0
    assert rate == RATE_HZ
    assert state["input"]["gaps"] == 0 and state["input"]["overflows"] == 0
    assert _found_in(sound, played), "the recording is not what was played"
    cut = cuts[0]
    true_time = sum(end - start for start, end in truth["engaged"])
    assert cut["ended"] and not cut["recovered"]
    assert sum(c["cut_time_s"] for c in cuts) == pytest.approx(true_time, rel=0.05)
    assert cut["chatter"], cut
    family = truth["chatter"][0]["family"]["lines_hz"]
    heard = cut["chatter"][0]["frequency_hz"]
    assert min(abs(heard - line) for line in family) < max(3.0, 0.005 * heard)


@pytest.mark.sound
def test_a_device_that_vanishes_in_a_cut_is_said_and_picked_up_again(tmp_path, ringing_pass):
    pcm, _ = ringing_pass
    with (
        VirtualMicrophone(tmp_path, pcm) as microphone,
        ListenProcess(
            tmp_path / "data", "--source", "mic", "--device", microphone.device, environment=microphone.env
        ) as listening,
    ):
        microphone.start()
        listening.wait_until_served()
        _watch(listening, 40, lambda data, words: data["state"] in ("cutting", "chatter"))
        stopper = threading.Thread(target=microphone.unplug)
        stopper.start()
        _watch(listening, 20, lambda data, words: data["state"] == "no-input")
        assert "device-lost" in [notice["code"] for notice in listening.get("/api/state")["notices"]]
        stopper.join()
        microphone.plug_in()
        microphone.start()
        _watch(listening, 30, lambda data, words: data["state"] not in ("no-input",))
        cuts = _wait_for(lambda: [cut for cut in listening.get("/api/cuts")["cuts"] if cut["ended"]])
        said = listening.get("/api/log")["log"]
        assert listening.stop() == 0
    assert cuts and cuts[-1]["cut_time_s"] > 0
    lines = [entry["kind"] for entry in said]
    assert lines.count("source") >= 3, said


def _with_audio(listening):
    found = listening.get("/api/cuts")["cuts"]
    return found if found and all(cut["audio"] for cut in found) else None


def _wait_for(look, seconds=30):
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if found := look():
            return found
        time.sleep(0.1)
    raise AssertionError("it did not come")


def _found_in(sound, played):
    """Whether the recording is, sample by sample, a stretch of what was played."""
    twice = np.concatenate([played, played])
    key = sound[:64]
    starts = np.flatnonzero(twice[: len(twice) - len(sound) + 1] == key[0])
    return any(
        np.array_equal(twice[s : s + 64], key) and np.array_equal(twice[s : s + len(sound)], sound)
        for s in starts
    )
