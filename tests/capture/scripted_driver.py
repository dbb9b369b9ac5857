"""A sound system that does what a test says, when the test says it; no thread, no clock, no PortAudio."""

import numpy as np

from shopmon.capture.inputs import InputDevice
from shopmon.capture.intake import Intake
from shopmon.capture.portaudio import BLOCK_FRAMES, InputRequest, OpenInput
from shopmon.errors import DeviceError

RATE = 48_000.0


class HandClock:
    """Monotonic time that stands still until it is moved."""

    def __init__(self):
        self.now_s = 5000.0

    def __call__(self) -> float:
        return self.now_s


class ScriptedCall:
    """A call that comes back when the script says so."""

    def __init__(self, value=None, error=None, done=True):
        self.done = done
        self.disposed = False
        self._value, self._error = value, error

    def wait(self, timeout_s):
        return self.done

    def result(self):
        if self._error:
            raise self._error
        return self._value

    def abandon(self, dispose):
        self.disposed = True
        if self.done and not self._error:
            dispose(self._value)


class ScriptedDriver:
    """Opens and closes streams as scripted.

    ``present`` tells whether the device is there, ``hangs`` whether calls come back; `deliver` plays blocks.
    """

    def __init__(self, clock, device_name="USB Mic (hw:1,0)", code_format="int16", channels=1):
        self.clock = clock
        self.present, self.hangs = True, False
        self.device_name, self.code_format, self.channels = device_name, code_format, channels
        self.requests: list[InputRequest] = []
        self.calls: list[ScriptedCall] = []
        self.closed: list[OpenInput] = []
        self.stream: OpenInput | None = None
        self.left_behind = False
        self.sent = 0

    def load(self):
        """Sound works."""

    def start_opening(self, request):
        self.requests.append(request)
        if self.present:
            call = ScriptedCall(self._open(), done=not self.hangs)
        else:
            error = DeviceError("There is no sound input named 'USB'.", "There is: 0 = webcam.")
            call = ScriptedCall(error=error, done=not self.hangs)
        self.calls.append(call)
        return call

    def start_closing(self, stream):
        self.closed.append(stream)
        self.calls.append(ScriptedCall(done=not self.hangs))
        return self.calls[-1]

    def leave_behind(self):
        self.left_behind = True

    def deliver(self, blocks=1, status=None, codes=None):
        """Call the callback as PortAudio would."""
        for _ in range(blocks):
            data = self.numbers() if codes is None else codes
            self.stream.intake.callback(data.tobytes(), BLOCK_FRAMES, None, status)
            self.sent += BLOCK_FRAMES

    def numbers(self):
        """Codes of one block in which every frame is known."""
        return ((self.sent + np.arange(BLOCK_FRAMES)) % 30_000).astype(np.int16)

    def _open(self):
        device = InputDevice(
            index=3, name=self.device_name, channels=2, default_sample_rate_hz=RATE, host_api="ALSA"
        )
        self.stream = OpenInput(
            device=device,
            sample_rate_hz=RATE,
            channels=self.channels,
            code_format=self.code_format,
            intake=Intake(RATE, self.channels, self.code_format, self.clock),
            close=lambda: None,
        )
        return self.stream
