"""The sensor IIS3DWB over SPI. Registers written down FROM MEMORY: check each against the data sheet.

Not run on a sensor by us.
"""

import time

import micropython

SENSOR_ID = 4
AXES, SAMPLE_BYTES = 3, 2
RANGES_MG = {2000: 0x0, 16000: 0x4, 4000: 0x8, 8000: 0xC}
WHO_AM_I, WHO = 0x0F, 0x7B
FIFO_CTRL3, FIFO_CTRL4, CTRL1, CTRL3 = 0x09, 0x0A, 0x10, 0x12
OUT_TEMPERATURE, FIFO_STATUS, FIFO_DATA = 0x20, 0x3A, 0x78
FIFO_WORD = 7  # a tag, then three axes of two bytes
MOST_WORDS = 256


class Sensor:
    """spi: up to 10 MHz, mode 3. chip_select: a pin, high at rest. range_mg: 2000, 4000, 8000 or 16000."""

    def __init__(self, spi, chip_select, range_mg=16000):
        self._spi, self._select = spi, chip_select
        self._two = bytearray(2)
        self._raw = bytearray(1 + MOST_WORDS * FIFO_WORD)
        self._raw_view = memoryview(self._raw)
        self.samples = bytearray(MOST_WORDS * AXES * SAMPLE_BYTES)
        self.range_mg = range_mg
        self.overrun = False
        if self._read(WHO_AM_I) != WHO:
            raise OSError("the sensor does not answer: check the wiring")
        self._write(CTRL3, 0x01)
        time.sleep_ms(20)
        self._write(CTRL3, 0x44)  # registers step on by themselves, no half-updated values
        self._write(FIFO_CTRL3, 0x0A)
        self._write(CTRL1, 0xA0 | RANGES_MG[range_mg])
        time.sleep_ms(20)
        self._write(FIFO_CTRL4, 0x06)  # continuous

    def read(self):
        """Fetch what waits into `samples`; return how many, and set `overrun` when some were lost."""
        status = self._read_two(FIFO_STATUS)
        self.overrun = bool(status & 0x4000)
        words = min(status & 0x3FF, MOST_WORDS)
        if not words:
            return 0
        size = words * FIFO_WORD
        self._raw[0] = 0x80 | FIFO_DATA
        self._select(0)
        self._spi.write(self._raw_view[:1])
        self._spi.readinto(self._raw_view[1 : 1 + size])
        self._select(1)
        strip(self._raw, words, self.samples)
        return words

    def temperature(self):
        """In 0.01 degrees Celsius."""
        value = self._read_two(OUT_TEMPERATURE)
        value -= (value & 0x8000) << 1
        return 2500 + value * 100 // 256

    def _read(self, register):
        self._select(0)
        self._spi.write(bytes((0x80 | register,)))
        value = self._spi.read(1)[0]
        self._select(1)
        return value

    def _read_two(self, register):
        self._select(0)
        self._spi.write(bytes((0x80 | register,)))
        self._spi.readinto(self._two)
        self._select(1)
        return self._two[0] | self._two[1] << 8

    def _write(self, register, value):
        self._select(0)
        self._spi.write(bytes((register, value)))
        self._select(1)


@micropython.viper
def strip(raw, words: int, samples):
    """Leave out the byte sent in return for the address and the tag of each word."""
    source = ptr8(raw)
    target = ptr8(samples)
    at = 0
    for word in range(words):
        begin = 2 + word * 7
        for index in range(6):
            target[at] = source[begin + index]
            at += 1
