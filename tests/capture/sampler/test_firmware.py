"""The board's framing and ring under MicroPython's Unix port: not on the board, but its very code."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from shopmon.capture.sampler.assembly import Assembly
from shopmon.capture.sampler.frames import FrameCutter, read_frame
from shopmon.signals.block import Block
from tests.capture.sampler.boards import numbers_of
from tests.house import ROOT

FIRMWARE = ROOT / "firmware_notes" / "sampler_board"
BESIDE = Path(sys.executable).with_name("micropython")
MICROPYTHON = str(BESIDE) if BESIDE.exists() else shutil.which("micropython")
pytestmark = pytest.mark.skipif(MICROPYTHON is None, reason="MicroPython's Unix port is not there")

HEAD = f"""
import sys, struct
sys.path.insert(0, {str(FIRMWARE)!r})
from framing import FrameWriter, stuff, NO_TEMPERATURE
from ring import Ring
from edges import Edges
out = sys.stdout.buffer
"""


def run(script):
    """Run a script under MicroPython with the firmware in its path; return what it writes."""
    done = subprocess.run(
        [MICROPYTHON, "-c", HEAD + script], capture_output=True, timeout=60, stdin=subprocess.DEVNULL
    )
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout


def test_frames_of_the_firmware_are_read_by_the_host():
    data = run("""
w = FrameWriter(0xDEADBEEF, 4, 3, 2, 26667123, 16000, 128, tach=True)
for i in range(5):
    samples = struct.pack("<384h", *[(i * 384 + k) * 37 % 65536 - 32768 for k in range(384)])
    out.write(w.pack(i * 128 + 7, 7, samples, 128, [65536 * 3, 65536 * 100 + 9], 2310))
out.write(w.pack(2**40, 7, bytes(600), 100, (), NO_TEMPERATURE))
""")
    frames = FrameCutter().feed(data)
    assert [frame.sequence for frame in frames] == list(range(6))
    first = frames[0]
    assert (first.session, first.sensor_id, first.first_sample, first.dropped) == (0xDEADBEEF, 4, 7, 7)
    assert (first.sample_rate_hz, first.range_g, first.temperature_c) == (26_667.123, 16.0, 23.1)
    assert first.tach_connected
    assert first.edges == (3.0, 100 + 9 / 65536)
    values = np.arange(5 * 384) * 37 % 65536 - 32768
    assert (np.concatenate([frame.codes for frame in frames[:5]]).reshape(-1) == values).all()
    assert frames[5].first_sample == 2**40
    assert frames[5].temperature_c is None
    assert not frames[5].codes.any()


def test_its_stuffing_is_that_of_the_host():
    from shopmon.capture.sampler.frames import stuff

    rng = np.random.default_rng(3)
    cases = [bytes(rng.integers(0, 3, n, np.uint8)) for n in (1, 5, 600)]
    cases += [b"\x01" * n for n in (1, 253, 254, 255, 507, 508, 509)] + [bytes(300), b"\x01" * 254 + b"\0"]
    lines = run(f"""
for case in {cases!r}:
    packed = bytearray(1000)
    n = stuff(case, len(case), packed)
    print(packed[:n].hex())
""")
    for case, line in zip(cases, lines.split(), strict=True):
        assert bytes.fromhex(line.decode()) == stuff(case) + b"\0"


@pytest.mark.parametrize("slow", [0, 3, 9])
def test_the_ring_drops_and_counts_and_keeps_the_order(slow):
    """A port that takes a slot only now and then: what arrives is right, what is missing is counted."""
    data = run(f"""
ring = Ring(4, 32, 6)
w = FrameWriter(1, 4, 3, 2, 26667000, 16000, 32)
number = 0
def block(n):
    global number
    b = bytearray()
    for i in range(number, number + n):
        b += struct.pack("<HHH", i & 0xFFFF, i >> 16, (i * 2654435761 + 12345) & 0xFFFF)
    number += n
    return b
for turn in range(200):
    n = 1 + turn * 7 % 45
    ring.put(block(n), n)
    if turn % ({slow} + 1) == 0:
        while True:
            slot = ring.take()
            if not slot:
                break
            first, dropped, samples, frames = slot
            out.write(w.pack(first, dropped, samples, frames))
            ring.done()
ring.flush()
while ring.take():
    first, dropped, samples, frames = ring.take()
    out.write(w.pack(first, dropped, samples, frames))
    ring.done()
""")
    assembly = Assembly("a", "board")
    blocks = [item for item in assembly.take(FrameCutter().feed(data)) if isinstance(item, Block)]
    total = sum(1 + turn * 7 % 45 for turn in range(200))
    taken = sum(block.frames for block in blocks)
    for block in blocks:
        assert (numbers_of(block.codes) == block.first_sample + np.arange(block.frames)).all()
    assert blocks[0].first_sample == 0
    dropped = assembly.newest.dropped
    assert sum(block.quality.gap for block in blocks) == dropped
    assert dropped + taken <= total
    assert (dropped == 0) == (slow == 0)


def test_pulses_are_placed_in_the_slot_to_which_they_belong():
    told = run("""
import json, time
import edges as module
now = [1_000_000]
class Clock:
    ticks_us = staticmethod(lambda: now[0])
    ticks_diff = staticmethod(lambda a, b: a - b)
module.time = Clock
e = Edges(10_000.0)
for at in (1_000_000, 1_005_050, 1_020_000):
    now[0] = at
    e.mark()
e.anchor(1_020_000, 1200)
print(json.dumps([e.within(1000, 100), e.within(1100, 100), e.within(1200, 100)]))
""")
    first, second, third = json.loads(told)
    assert [place / 65536 for place in first] == pytest.approx([0, 50.5], abs=1e-4)
    assert second == []
    assert [place / 65536 for place in third] == [0.0]


@pytest.mark.parametrize("name", ["main.py", "sensor_iis3dwb.py"])
def test_what_needs_the_board_is_at_least_compiled(name):
    run(f"compile(open({str(FIRMWARE / name)!r}).read(), {name!r}, 'exec')")


def test_a_frame_cut_by_a_reset_is_refused():
    data = run("""
w = FrameWriter(1, 4, 3, 2, 26667000, 16000, 32)
out.write(w.pack(0, 0, bytes(192), 32))
""")
    assert read_frame(data[:-1]) is not None
    assert all(read_frame(data[:length]) is None for length in range(len(data) - 1))


@pytest.mark.parametrize("tach", [False, True])
def test_the_whole_program_of_the_board_with_a_made_up_sensor(tmp_path, tach):
    """main.py with pins, bus and sensor that exist in software only; what is sent is read as from a board."""
    shutil.copy(Path(__file__).with_name("fake_machine.py"), tmp_path / "machine.py")
    program = (FIRMWARE / "main.py").read_text(encoding="utf-8")
    program = program.replace("MEASURE_MS = 4000", "MEASURE_MS = 200")
    program = program.replace("GRACE_MS = 5000", "GRACE_MS = 100")
    program = program.replace("TACH_PIN = None", "TACH_PIN = 5") if tach else program
    (tmp_path / "main.py").write_text(program, encoding="utf-8")
    paths = f"import sys; sys.path[:0] = [{str(tmp_path)!r}, {str(FIRMWARE)!r}]; import main"
    process = subprocess.Popen(
        [MICROPYTHON, "-c", paths], stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL
    )
    cutter, assembly, blocks = FrameCutter(), Assembly("a", "board"), []
    try:
        while sum(block.frames for block in blocks) < 20_000:
            data = process.stdout.read1(65536)
            assert data, process.stderr.read().decode()
            blocks += [item for item in assembly.take(cutter.feed(data)) if isinstance(item, Block)]
    finally:
        process.kill()
        process.communicate()
    assert cutter.refused == 0
    assert assembly.newest.range_g == 16.0
    assert assembly.newest.temperature_c == 30.0
    for stream in {block.stream_id for block in blocks}:
        mine = [block for block in blocks if block.stream_id == stream]
        origin = numbers_of(mine[0].codes)[0]
        for block in mine:
            assert (numbers_of(block.codes) == origin + block.first_sample + np.arange(block.frames)).all()
    assert 10_000 < assembly.newest.sample_rate_hz < 20_500
    assert any(block.tach_codes is not None and block.tach_codes.any() for block in blocks) == tach
