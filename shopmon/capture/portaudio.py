"""The one place that calls PortAudio (through sounddevice), its errors put into words.

Every function here may block, on a broken device for ever, so they are called from threads that can be left
behind (`shopmon.capture.background`). PortAudio lists the devices once, when it is initialized; to see a
device that was plugged in later it has to be initialized again, which closes every stream and is therefore
done only while none is open.
"""

import atexit
import itertools
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from shopmon.capture.background import BackgroundCall
from shopmon.capture.codes import CODE_BYTES
from shopmon.capture.inputs import InputDevice, find_input
from shopmon.capture.intake import Intake
from shopmon.errors import DeviceError
from shopmon.signals.block import CodeFormat

BLOCK_FRAMES = 1024
ANSWER_S = 10.0
# Measured with PortAudio 19.6 on ALSA: up to 3 blocks of latency it makes a buffer of 4 blocks and calls back
# after each one, so that the callback may be 3 blocks late before sound is lost; above that, after every two.
_HELD_BLOCKS = 2.9
PREFERRED_RATES_HZ = (48_000.0, 44_100.0)
INSTALL_HINT = "Install it with: sudo apt install libportaudio2"

_ALSA_FORMATS: dict[str, CodeFormat] = {
    "S16_LE": "int16",
    "S24_3LE": "int24",
    "S24_LE": "int24",
    "S32_LE": "int32",
}
_LIST_IS_FRESH_S = 0.9  # below the pause between two attempts to open a lost device
_changing = threading.Lock()  # listing and opening exclude each other
_last_look_s = float("-inf")
_open_streams: set[int] = set()


@dataclass(frozen=True, kw_only=True)
class InputRequest:
    """What is asked of a sound input; None where PortAudio and the device may decide."""

    device: str | int | None = None
    sample_rate_hz: float | None = None
    channels: int | None = None
    code_format: CodeFormat | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class OpenInput:
    """A running stream.

    Attributes
    ----------
    device
        The input it was opened on.
    sample_rate_hz, channels, code_format
        As read back.
    intake
        What its callback fills.
    close
        Stops and closes it; may block.
    """

    device: InputDevice
    sample_rate_hz: float
    channels: int
    code_format: CodeFormat
    intake: Intake
    close: Callable[[], None] = field(repr=False)


def block_frames(sample_rate_hz: float) -> int:
    """Return how many frames one callback brings: some 21 ms of sound, also at high rates."""
    return BLOCK_FRAMES * max(1, round(sample_rate_hz / PREFERRED_RATES_HZ[0]))


def load():
    """Return the module sounddevice; the first time this initializes PortAudio.

    Raises
    ------
    DeviceError
        There is no sounddevice or no PortAudio, or PortAudio does not start.
    """
    global _last_look_s
    first = "sounddevice" not in sys.modules
    try:
        import sounddevice
    except ImportError as exc:
        text, hint = "The Python package sounddevice is not installed.", "Run: pip install sounddevice"
        raise DeviceError(text, hint) from exc
    except OSError as exc:
        raise DeviceError("The PortAudio library was not found.", INSTALL_HINT) from exc
    except Exception as exc:  # its own error class cannot be named when the module does not load
        raise DeviceError(f"PortAudio does not start: {exc}.", INSTALL_HINT) from exc
    if first:
        _last_look_s = time.monotonic()
    return sounddevice


def list_inputs() -> list[InputDevice]:
    """List the sound inputs, those that were plugged in meanwhile too while no stream is open.

    Raises
    ------
    DeviceError
        There is no PortAudio, or it fails.
    """
    sounddevice = load()
    with _changing:
        return _fresh_list(sounddevice)


def open_input(request: InputRequest, clock: Callable[[], float] = time.monotonic) -> OpenInput:
    """Open and start a stream on the input that is meant, in the nearest form to what was asked.

    Raises
    ------
    DeviceError
        There is no such input, or it cannot be opened.
    """
    sounddevice = load()
    with _changing:
        device = find_input(_fresh_list(sounddevice), request.device)
        try:
            return _opened(sounddevice, device, request, clock)
        except (sounddevice.PortAudioError, ValueError) as exc:
            raise _refusal(device, exc) from exc


def leave_behind() -> None:
    """Do not wait at exit for a PortAudio that hangs; the system cleans up after the process."""
    sounddevice = sys.modules.get("sounddevice")  # not imported here: that could be what hangs
    if sounddevice is not None:
        atexit.unregister(sounddevice._exit_handler)


def answered(function: Callable[[], Any], dispose: Callable[[Any], None] = lambda value: None) -> Any:
    """Call one of the functions above and return its value, if PortAudio answers in time.

    Raises
    ------
    DeviceError
        It raised that, or it did not answer; if it ever does, `dispose` gets the value.
    """
    call = BackgroundCall(function, "portaudio")
    if call.wait(ANSWER_S):
        return call.result()
    leave_behind()
    call.abandon(dispose)
    raise DeviceError(
        f"The sound system has not answered for {ANSWER_S:g} s.",
        "Unplug the microphone and plug it in again; if that does not help, restart the computer.",
    )


def _fresh_list(sounddevice) -> list[InputDevice]:
    try:
        _look_again(sounddevice)
        apis = [api["name"] for api in sounddevice.query_hostapis()]
        default = sounddevice.default.device[0]
        return [
            InputDevice(
                index=index,
                name=entry["name"],
                channels=entry["max_input_channels"],
                default_sample_rate_hz=entry["default_samplerate"],
                host_api=apis[entry["hostapi"]],
                is_default=index == default,
            )
            for index, entry in enumerate(sounddevice.query_devices())
            if entry["max_input_channels"] > 0
        ]
    except sounddevice.PortAudioError as exc:
        text = f"The sound inputs cannot be listed: {_reason(exc)}."
        raise DeviceError(text, "Restart the computer.") from exc


def _look_again(sounddevice) -> None:
    """Have PortAudio look which devices there are now, unless it just did or a stream is open."""
    global _last_look_s
    if _open_streams or time.monotonic() - _last_look_s < _LIST_IS_FRESH_S:
        return
    if sounddevice._initialized:
        sounddevice._terminate()
    sounddevice._initialize()
    _last_look_s = time.monotonic()


def _opened(sounddevice, device: InputDevice, request: InputRequest, clock) -> OpenInput:
    channels = request.channels or 1
    if channels > device.channels:
        raise DeviceError(f"{device.name} has no {channels} channels.", f"It has {device.channels} at most.")
    rate, code_format = _negotiated(sounddevice, device, request, channels)
    intake = Intake(rate, channels, code_format, clock)
    stream = sounddevice.RawInputStream(
        device=device.index,
        channels=channels,
        samplerate=rate,
        dtype=code_format,
        blocksize=block_frames(rate),
        latency=_HELD_BLOCKS * block_frames(rate) / rate,
        clip_off=True,
        dither_off=True,  # the device's own codes, not improved ones
        callback=intake.callback,
        finished_callback=intake.finish,
    )
    _open_streams.add(id(stream))
    try:
        stream.start()
    except sounddevice.PortAudioError:
        _close(stream)
        raise
    return OpenInput(
        device=device,
        sample_rate_hz=float(stream.samplerate),
        channels=channels,
        code_format=code_format,
        intake=intake,
        close=lambda: _close(stream),
    )


def _close(stream) -> None:
    """Stop and close a stream, which counts as open until that is over, however long it takes."""
    stream.abort()
    stream.close()
    _open_streams.discard(id(stream))


def _negotiated(sounddevice, device, request: InputRequest, channels: int) -> tuple[float, CodeFormat]:
    rates = _in_order(request.sample_rate_hz, *PREFERRED_RATES_HZ, device.default_sample_rate_hz)
    formats = _in_order(request.code_format, native_code_format(device), *CODE_BYTES)
    refusal = None
    for rate, code_format in itertools.product(rates, formats):
        try:
            sounddevice.check_input_settings(device.index, channels, code_format, None, rate)
            return rate, code_format
        except sounddevice.PortAudioError as exc:
            refusal = refusal or exc
    raise refusal


def _in_order(*values) -> list:
    return list(dict.fromkeys(value for value in values if value is not None))


def native_code_format(device: InputDevice, sound_cards: Path = Path("/proc/asound")) -> CodeFormat | None:
    """Return what a USB device's converter delivers by the kernel's account, None where that is not known.

    PortAudio cannot tell: it offers every format and converts.
    """
    if device.card is None:
        return None
    try:
        text = (sound_cards / f"card{device.card[0]}" / f"stream{device.card[1]}").read_text()
    except OSError:
        return None
    capture = text.partition("Capture:")[2]
    formats = [line.partition("Format:")[2].strip() for line in capture.splitlines() if "Format:" in line]
    return next((_ALSA_FORMATS[name] for name in formats if name in _ALSA_FORMATS), None)


def _refusal(device: InputDevice, exc: Exception) -> DeviceError:
    reason = _reason(exc)
    if "unavailable" in reason.lower() or "busy" in reason.lower():
        hint = "Another program is probably using it: close that program."
    else:
        hint = "Unplug it and plug it in again, or choose another one; shopmon devices lists them."
    return DeviceError(f"{device.name} cannot be opened: {reason}.", hint)


def _reason(exc: Exception) -> str:
    """Say in one line what PortAudio said."""
    host = f" ({exc.args[2][2]})" if len(exc.args) > 2 else ""
    return " ".join(f"{exc.args[0]}{host}".split()).rstrip(".")
