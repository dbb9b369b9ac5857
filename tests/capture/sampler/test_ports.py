"""Which serial port a person means."""

import pytest

from shopmon.capture.sampler.ports import SerialPort, find_port
from shopmon.errors import DeviceError

PORTS = [
    SerialPort(path="/dev/ttyACM0", name="Board in FS mode", serial_number="e661"),
    SerialPort(path="/dev/ttyACM1", name="Board in FS mode", serial_number="e662"),
    SerialPort(path="/dev/ttyUSB0", name="USB serial"),
]


@pytest.mark.parametrize(
    ("wanted", "path"), [("e662", "/dev/ttyACM1"), ("usb s", "/dev/ttyUSB0"), ("E661 ", "/dev/ttyACM0")]
)
def test_a_port_is_found_by_number_or_name(wanted, path):
    assert find_port(PORTS, wanted) == path


def test_a_path_is_taken_as_it_is(tmp_path):
    (tmp_path / "tty").touch()
    assert find_port([], str(tmp_path / "tty")) == str(tmp_path / "tty")
    with pytest.raises(DeviceError, match="ttyACM0 = Board"):
        find_port(PORTS, str(tmp_path / "no"))


@pytest.mark.parametrize("wanted", ["Board", "nothing like it"])
def test_what_is_not_one_port_is_refused_with_what_there_is(wanted):
    with pytest.raises(DeviceError, match="e661"):
        find_port(PORTS, wanted)


def test_without_any_port_the_hint_says_what_to_do():
    with pytest.raises(DeviceError, match="group dialout"):
        find_port([], "e661")
