"""Self-check of the sound inputs: PortAudio, the right to use the sound card, the inputs in the settings."""

import os
from collections.abc import Callable, Sequence
from pathlib import Path

from shopmon.capture import devices
from shopmon.capture.inputs import InputDevice, find_input
from shopmon.errors import DeviceError
from shopmon.service.selfcheck.finding import Finding
from shopmon.service.settings import Settings

SOUND_CARDS = Path("/dev/snd")


def check_sound(
    settings: Settings,
    lister: Callable[[], Sequence[InputDevice]] = devices.list_inputs,
    sound_cards: Path = SOUND_CARDS,
) -> list[Finding]:
    """Look at the sound library, the inputs, and whether those in the settings are there."""
    try:
        inputs = lister()
    except DeviceError as exc:
        return [Finding(name="sound", verdict="wrong", text=exc.text, hint=exc.hint)]
    closed = [card for card in sorted(sound_cards.glob("pcm*c")) if not os.access(card, os.R_OK | os.W_OK)]
    if closed and not inputs:
        text = "There is a sound card, but this user may not use it."
        hint = "Type: sudo adduser $USER audio   then log out and in again."
        return [Finding(name="sound", verdict="wrong", text=text, hint=hint)]
    if not inputs:
        text = "No microphone is connected. The demo and recordings work without one."
        return [Finding(name="sound", verdict="look", text=text, hint="Plug one in; see 'shopmon devices'.")]
    return [_inputs_found(inputs), *_named_inputs(settings, inputs)]


def _inputs_found(inputs: Sequence[InputDevice]) -> Finding:
    names = [device.lasting_name for device in inputs]
    shown = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
    return Finding(name="sound", verdict="ok", text=f"Sound inputs: {shown}.")


def _named_inputs(settings: Settings, inputs: Sequence[InputDevice]) -> list[Finding]:
    findings = []
    for name, source in settings.sources.items():
        if source.kind != "mic":
            continue
        try:
            device = find_input(inputs, source.device)
        except DeviceError as exc:
            text = f"Source '{name}' of the settings: {exc.text}"
            findings.append(Finding(name="sound", verdict="wrong", text=text, hint=exc.hint))
        else:
            text = f"Source '{name}' of the settings is {device.lasting_name}."
            findings.append(Finding(name="sound", verdict="ok", text=text))
    return findings
