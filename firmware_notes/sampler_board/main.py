"""The sampler board's program, for a board with an RP2040 or RP2350. Has NOT been run on the board.

Copy framing.py, ring.py, edges.py, sensor_iis3dwb.py and this file onto the board. Wiring and cautions:
../sampler_board.md. The board only talks: it takes no commands over USB.
"""

import gc
import os
import select
import struct
import sys
import time

import micropython
from edges import Edges
from framing import FrameWriter
from machine import SPI, Pin
from ring import Ring
from sensor_iis3dwb import AXES, SAMPLE_BYTES, SENSOR_ID, Sensor

RANGE_MG = 16000
TACH_PIN = None  # the number of a GPIO pin that a tachometer pulls low once per turn, or None
SLOT_FRAMES, SLOTS = 128, 96
PIECE = 256
MEASURE_MS = 4000
GRACE_MS = 5000  # after plugging in: so long the program can still be stopped over USB, to change it

spi = SPI(0, baudrate=10_000_000, polarity=1, phase=1, sck=Pin(18), mosi=Pin(19), miso=Pin(16))


def measured_rate_mhz(sensor):
    """Count samples against the board's quartz: the sensor's own oscillator may be off by percents."""
    while True:
        for _ in range(4):
            sensor.read()
        begun, count, whole = time.ticks_us(), 0, True
        while time.ticks_diff(time.ticks_us(), begun) < MEASURE_MS * 1000:
            count += sensor.read()
            whole = whole and not sensor.overrun
        if whole:
            return count * 1_000_000_000 // time.ticks_diff(time.ticks_us(), begun)


def send(port, poller, frame):
    """Hand on as much as the port takes now; return what is left."""
    while frame and poller.poll(0):
        written = port.write(frame[:PIECE])
        frame = frame[written if written else 0 :]
        if not written:
            break
    return frame


def stream(sensor):
    """Send one session, until the sensor has lost samples of which the number is not known."""
    rate_mhz = measured_rate_mhz(sensor)
    (session,) = struct.unpack("<I", os.urandom(4))
    tach = Pin(TACH_PIN, Pin.IN, Pin.PULL_UP) if TACH_PIN is not None else None
    form = (SENSOR_ID, AXES, SAMPLE_BYTES, rate_mhz, RANGE_MG, SLOT_FRAMES)
    writer = FrameWriter(session, *form, tach=tach is not None)
    ring = Ring(SLOTS, SLOT_FRAMES, AXES * SAMPLE_BYTES)
    edges = Edges(rate_mhz / 1000)
    if tach:
        tach.irq(edges.mark, Pin.IRQ_FALLING)
    port, poller = sys.stdout.buffer, select.poll()
    poller.register(sys.stdout, select.POLLOUT)
    rest, temperature, turn = None, sensor.temperature(), 0
    while True:
        count = sensor.read()
        if sensor.overrun:
            return
        if count:
            ring.put(sensor.samples, count)
            edges.anchor(time.ticks_us(), ring.position)
        if not rest and (slot := ring.take()):
            first, dropped, data, frames = slot
            pulses = edges.within(first, frames) if tach else ()
            rest = writer.pack(first, dropped, data, frames, pulses, temperature)
            ring.done()
            turn += 1
            if turn % 256 == 0:
                temperature = sensor.temperature()
            if turn % 32 == 0:
                gc.collect()
        if rest:
            rest = send(port, poller, rest)


def main():
    time.sleep_ms(GRACE_MS)
    # from here on a byte 3 from the computer would otherwise stop the program
    micropython.kbd_intr(-1)
    sensor = Sensor(spi, Pin(17, Pin.OUT, value=1), RANGE_MG)
    sys.stdout.buffer.write(b"\0")
    while True:
        stream(sensor)


main()
