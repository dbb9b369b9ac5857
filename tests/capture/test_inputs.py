"""Which input a person means."""

import pytest

from shopmon.capture.inputs import InputDevice, find_input
from shopmon.capture.portaudio import native_code_format
from shopmon.errors import DeviceError


def device(index, name, host_api="ALSA", **values):
    return InputDevice(
        index=index, name=name, channels=1, default_sample_rate_hz=44_100.0, host_api=host_api, **values
    )


DEVICES = [
    device(0, "On-board: Analog (hw:0,0)"),
    device(3, "USB Mic (hw:1,0)"),
    device(4, "USB Mic Two (hw:2,0)"),
    device(5, "default", is_default=True),
    device(6, "default", host_api="JACK"),
    device(7, "Straße"),
]


@pytest.mark.parametrize(
    ("wanted", "index"),
    [
        (3, 3),
        ("3", 3),
        (" 4 ", 4),
        (None, 5),
        ("USB Mic (hw:1,0)", 3),
        ("usb mic", 3),  # the whole name without the card number wins over the part of another
        ("two", 4),
        ("board", 0),
        ("default, jack", 6),
        ("hw:2", 4),
        ("STRASSE", 7),
    ],
)
def test_by_number_name_or_part(wanted, index):
    assert find_input(DEVICES, wanted).index == index


@pytest.mark.parametrize(
    ("wanted", "text", "listed"),
    [
        ("usb", "More than one sound input is named 'usb'", "3 = USB Mic (hw:1,0) (ALSA); 4 = USB"),
        ("default", "More than one sound input is named 'default'", "5 = default (ALSA); 6 = default (JACK)"),
        ("bluetooth", "There is no sound input named 'bluetooth'", "0 = On-board"),
        (1, "There is no sound input number 1", "7 = Straße"),
        ("-1", "There is no sound input named '-1'", "5 = default"),
    ],
)
def test_what_cannot_be_told_lists_what_there_is(wanted, text, listed):
    with pytest.raises(DeviceError) as caught:
        find_input(DEVICES, wanted)
    assert caught.value.text.startswith(text)
    assert listed in caught.value.hint


@pytest.mark.parametrize("wanted", [None, 0, "usb"])
def test_none_at_all(wanted):
    with pytest.raises(DeviceError, match="No sound input was found") as caught:
        find_input([], wanted)
    assert "microphone" in caught.value.hint


def test_without_a_default_the_first_is_taken():
    assert find_input(DEVICES[:3], None).index == 0


def test_the_card_number_is_no_part_of_the_lasting_name():
    assert DEVICES[1].lasting_name == "USB Mic"
    assert DEVICES[1].card == (1, 0)
    assert DEVICES[3].lasting_name == "default"
    assert DEVICES[3].card is None


STREAM = """USB Mic at usb-0000:01:00.0-1.1, high speed : USB Audio

Playback:
  Interface 1
    Altset 1
    Format: S16_LE
Capture:
  Status: Stop
  Interface 2
    Altset 1
    Format: {}
    Channels: 1
"""


@pytest.mark.parametrize(
    ("listed", "code_format"),
    [("S16_LE", "int16"), ("S24_3LE", "int24"), ("S32_LE", "int32"), ("DSD_U8", None)],
)
def test_the_converters_own_format_is_the_kernels_word(tmp_path, listed, code_format):
    (tmp_path / "card1").mkdir()
    (tmp_path / "card1" / "stream0").write_text(STREAM.format(listed))
    assert native_code_format(DEVICES[1], tmp_path) == code_format
    assert native_code_format(DEVICES[2], tmp_path) is None
    assert native_code_format(DEVICES[3], tmp_path) is None
