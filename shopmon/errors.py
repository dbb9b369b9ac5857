"""The project's errors: few families, told apart by what the person can do about them.

Every error is one sentence saying what is wrong and a hint saying what to do next. Foreign errors are
translated once, at the edge where they appear, so that nothing above that edge needs to know the library.
"""


class ShopmonError(Exception):
    """Base of every error this project raises on purpose.

    Parameters
    ----------
    text
        One sentence: what is wrong, with the offending value.
    hint
        What to do next; may be empty where nothing can be done.
    """

    def __init__(self, text: str, hint: str = ""):
        super().__init__(text)
        self.text = text
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.text} {self.hint}".strip()


class SettingError(ShopmonError, ValueError):
    """A setting or option has a value that cannot be used."""


class DeviceError(ShopmonError, OSError):
    """An input device is absent, busy or cannot do what was asked."""


class RecordingError(ShopmonError, ValueError):
    """A recording cannot be read as sound."""


class ProgramError(ShopmonError, ValueError):
    """An NC program cannot be read, or not to its end."""


class StoreError(ShopmonError, OSError):
    """The data folder or its database cannot be used."""
