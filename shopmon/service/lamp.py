"""An optional lamp on a GPIO pin that follows the state, for eyes that are on the cut and not on a screen.

It is no safety device: it may be late, wrong or broken, and a dark lamp means nothing at all.
"""

import threading
import warnings

from shopmon.errors import SettingError
from shopmon.service.live_feed import LiveFeed

STEADY_STATES = ("cutting",)
BLINKING_STATES = ("chatter",)
BLINK_S = 0.125
SILENT_S = 5.0


class StateLamp:
    """Lights steadily while cutting, blinks fast at chatter, is dark otherwise; no safety device.

    Dark too when the monitor has been silent for a while: a lit lamp would claim what nobody knows.

    Parameters
    ----------
    feed
        Says the state.
    gpio_pin
        Number of the pin as Broadcom counts (GPIO17 is 17).
    pin_factory
        A gpiozero pin factory; None takes the one of this computer. Tests pass mock pins.
    silent_s
        Seconds without a word after which the lamp goes dark.

    Raises
    ------
    SettingError
        The library is not installed, or the pin cannot be used.
    """

    def __init__(self, feed: LiveFeed, gpio_pin: int, *, pin_factory=None, silent_s: float = SILENT_S):
        self._led = _open_led(gpio_pin, pin_factory)
        self._silent_s = silent_s
        self._shown = "dark"
        self._subscription = feed.subscribe()
        self._thread = threading.Thread(target=self._follow, name="lamp", daemon=True)
        self._thread.start()

    @property
    def shown(self) -> str:
        """What the lamp does now: ``"dark"``, ``"steady"`` or ``"blinking"``."""
        return self._shown

    def close(self) -> None:
        """Put the lamp out and give the pin back; calling it twice is harmless."""
        self._subscription.close()
        self._thread.join()
        self._led.close()

    def _follow(self) -> None:
        while not self._subscription.closed:
            news = self._subscription.next(self._silent_s)
            if news is None:
                self._show("dark")
            elif news[0] == "state":
                self._show(pattern(news[1].get("state", "")))

    def _show(self, wanted: str) -> None:
        if wanted == self._shown:
            return
        if wanted == "blinking":
            self._led.blink(on_time=BLINK_S, off_time=BLINK_S)
        elif wanted == "steady":
            self._led.on()
        else:
            self._led.off()
        self._shown = wanted


def pattern(state: str) -> str:
    """Return what the lamp does in a state.

    Examples
    --------
    >>> [pattern(state) for state in ("spinning", "cutting", "chatter", "no-input")]
    ['dark', 'steady', 'blinking', 'dark']
    """
    if state in BLINKING_STATES:
        return "blinking"
    return "steady" if state in STEADY_STATES else "dark"


def _open_led(gpio_pin: int, pin_factory):
    try:
        import gpiozero
    except ImportError as error:
        raise SettingError(
            "A lamp needs the package gpiozero, which is not installed.",
            "Install it with: pip install 'shopmon[lamp]', or take gpio_pin out of the settings.",
        ) from error
    try:
        with warnings.catch_warnings():
            # gpiozero warns of every library it tries; what counts is whether one of them works
            warnings.simplefilter("ignore")
            return gpiozero.LED(gpio_pin, pin_factory=pin_factory)
    except (gpiozero.GPIOZeroError, ValueError, TypeError, OSError) as error:
        raise SettingError(
            f"There can be no lamp on GPIO pin {gpio_pin!r}: {_first_sentence(error)}.",
            "Use a free pin of a Raspberry Pi by its GPIO number, or take gpio_pin out of the settings.",
        ) from error


def _first_sentence(error: Exception) -> str:
    lines = str(error).strip().splitlines()
    return lines[0].rstrip(".") if lines else type(error).__name__
