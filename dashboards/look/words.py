"""Words and shapes for what the monitor says, and numbers with the digits they deserve.

The pages and their scripts take the words from here, so that a state is called the same everywhere.
"""

import math
from datetime import UTC, datetime

NARROW_SPACE = "\u202f"
NONE = "–"

STATES = {
    "no-input": {"word": "No input", "means": "Nothing is heard."},
    "stopped": {"word": "Stopped", "means": "The spindle stands still."},
    "spinning": {"word": "Spinning", "means": "The spindle turns, clear of the metal."},
    "air-cut": {"word": "Air cut", "means": "A pass with no tooth in metal."},
    "cutting": {"word": "Cutting", "means": "A tooth is in metal. No chatter."},
    "chatter": {"word": "Chatter", "means": "The cut rings."},
    "away": {"word": "No connection", "means": "This screen does not hear the monitor."},
    "connecting": {"word": "Connecting", "means": "Asking the monitor."},
}

SILENT_DB = -80.0
SEVERITIES = {"slight": 1, "clear": 2, "heavy": 3}


def grouped(value: float | None, digits: int = 4) -> str:
    """Write a number, whole and with at most `digits` significant digits, thousands set apart narrowly.

    Examples
    --------
    >>> grouped(11973.2).replace(NARROW_SPACE, " ")
    '11 970'
    >>> grouped(None)
    '–'
    """
    if value is None or not math.isfinite(value):
        return NONE
    size = math.floor(math.log10(abs(value))) + 1 if value else 1
    rounded = round(value, min(0, digits - size))
    return f"{rounded:,.0f}".replace(",", NARROW_SPACE).replace("-", "−")


def clock(seconds: float | None) -> str:
    """Write a length of time as minutes and seconds, with hours only when there are any.

    Examples
    --------
    >>> clock(61.9), clock(3700), clock(None)
    ('1:01', '1:01:40', '–')
    """
    if seconds is None or not math.isfinite(seconds):
        return NONE
    minutes, second = divmod(int(max(seconds, 0)), 60)
    hours, minute = divmod(minutes, 60)
    return f"{hours}:{minute:02d}:{second:02d}" if hours else f"{minute}:{second:02d}"


def tenths(seconds: float | None) -> str:
    r"""Write seconds with one decimal.

    Examples
    --------
    >>> tenths(5.41)
    '5.4\xa0s'
    """
    return NONE if seconds is None or not math.isfinite(seconds) else f"{seconds:.1f}\u00a0s"


def decibels(level_db: float | None) -> str:
    r"""Write a level in whole decibels re full scale, with a true minus sign.

    Examples
    --------
    >>> decibels(-23.1)
    '−23\xa0dB'
    """
    if level_db is None or not math.isfinite(level_db):
        return NONE
    return f"{level_db:.0f}\u00a0dB".replace("-", "−")


def moment(wall_s: float | None) -> str:
    """Write a wall time in the monitor's own time zone; scripts rewrite it in the reader's."""
    return "clock not set" if wall_s is None else f"{datetime.fromtimestamp(wall_s):%Y-%m-%d %H:%M:%S}"


def time_of_day(wall_s: float | None) -> str:
    """Write only the time of day of `wall_s`."""
    return "clock not set" if wall_s is None else f"{datetime.fromtimestamp(wall_s):%H:%M:%S}"


def iso(wall_s: float) -> str:
    """Write a wall time for the ``datetime`` attribute of a time element."""
    return datetime.fromtimestamp(wall_s, UTC).isoformat(timespec="seconds")


def setup_words(nominal_rpm: float | None, flutes: int | None) -> str:
    """Write what the monitor was told of speed and flutes, or ask for it.

    Examples
    --------
    >>> setup_words(12000, 3).replace(NARROW_SPACE, " ").replace("\u00a0", " ")
    '12 000 rpm · 3 flutes'
    >>> setup_words(None, None)
    'Set speed and flutes'
    """
    speed = f"{grouped(nominal_rpm, 6)}\u00a0rpm" if nominal_rpm else ""
    return " · ".join(filter(None, (speed, flutes_words(flutes)))) or "Set speed and flutes"


def flutes_words(count: int | None) -> str | None:
    r"""Say how many flutes; None where nobody said.

    Examples
    --------
    >>> flutes_words(1), flutes_words(3), flutes_words(None)
    ('1\xa0flute', '3\xa0flutes', None)
    """
    return f"{count}\u00a0{'flute' if count == 1 else 'flutes'}" if count else None


def plain_number(value: float | None) -> str:
    """Write a number for a script, nothing for None.

    Examples
    --------
    >>> plain_number(12000.0), plain_number(None)
    ('12000', '')
    """
    return f"{value:g}" if value else ""


def told_words(state: dict) -> str:
    """Say beside the true speed which one the monitor was told, and whether the true one is in doubt."""
    told = state.get("nominal_rpm")
    words = f"told {grouped(told, 6)}" if told else "no speed told"
    doubtful = state.get("rpm") is not None and (state.get("rpm_confidence") or 0.0) < 0.5
    return f"{words}, true speed in doubt" if doubtful else words


def audio_words(audio: dict) -> str:
    """Say how long the disk lasts while audio is kept, else why it is not kept and what helps."""
    if audio.get("keeping"):
        hours = audio.get("hours_left")
        return "" if hours is None else f"room for {grouped(hours, 2)}\u00a0h"
    reasons = (audio.get("stopped"), audio.get("hint"))
    return " ".join(filter(None, reasons)) or "No sound is coming in."


def quality_good(heard: dict) -> bool:
    """Tell whether the input gives no reason for doubt."""
    return quality_words(heard) == "Good"


def quality_words(heard: dict) -> str:
    """Say in words how good the input is."""
    if not heard["present"]:
        return "No input"
    troubles = []
    if heard["clipped_fraction"]:
        troubles.append("Clipped: too loud, move the microphone away or lower the gain")
    if heard["level_db"] is not None and heard["level_db"] < SILENT_DB:
        troubles.append("Silent")
    if heard["gaps"] or heard["overflows"]:
        troubles.append(f"Lost samples: {heard['lost_s']:.1f}\u00a0s so far")
    return ". ".join(troubles) or "Good"


def heard_words(state: dict) -> str:
    """Say the picture in words: the comb's spacing and the stray tones."""
    rpm, flutes = state.get("rpm"), state.get("flutes")
    told = f"Comb every {grouped(rpm / 60)}\u00a0Hz" if rpm else "No rotation heard"
    if rpm and flutes:
        told += f", tooth passing {grouped(rpm / 60 * flutes)}\u00a0Hz"
    tones = ", ".join(f"{grouped(tone['frequency_hz'])}\u00a0Hz" for tone in state.get("stray", [])[:3])
    return f"{told}. {'Stray: ' + tones if tones else 'No stray tone'}."


def program_words(program: dict | None) -> str:
    """Say which section of the followed program is believed to run, and how sure that is.

    Examples
    --------
    >>> program_words({"name": "hub.nc", "trouble": "", "section": {"words": "3 of 9: T5", "sure": "likely"}})
    'hub.nc: section 3 of 9: T5 – likely'
    >>> program_words(None)
    ''
    """
    if not program:
        return ""
    name, trouble, section = program["name"], program["trouble"], program["section"]
    if not name or trouble:
        return ": ".join(filter(None, (name, trouble)))
    if not section:
        return f"{name}: no section can be told now"
    return f"{name}: section {section['words']} – {section['sure']}"


FILTERS = {
    "grouped": grouped,
    "clock": clock,
    "tenths": tenths,
    "decibels": decibels,
    "moment": moment,
    "time_of_day": time_of_day,
    "iso": iso,
    "plain_number": plain_number,
}
GLOBALS = {
    "STATES": STATES,
    "SEVERITIES": SEVERITIES,
    "setup_words": setup_words,
    "told_words": told_words,
    "audio_words": audio_words,
    "quality_good": quality_good,
    "quality_words": quality_words,
    "heard_words": heard_words,
    "program_words": program_words,
}
