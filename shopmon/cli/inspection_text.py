"""An inspection told to a person."""

from shopmon.cli.advice_text import advice_lines


def as_text(result: dict, name: str) -> str:
    """Tell an inspection in a few plain lines.

    Parameters
    ----------
    result
        ``shopmon.inspection/1``.
    name
        Of the recording.
    """
    recording = result["recording"]
    lines = [
        f"{name}: {_time(recording['duration_s'])}, {recording['sample_rate_hz']:g} Hz, "
        f"{_count(recording['channels'], 'channel')}",
        "",
        _heading(result),
        _speed(result),
        *_cuts(result),
        *_chatter(result),
        *_stray(result),
    ]
    if result["advice"]:
        lines += ["", "What to try, best first:", *advice_lines(result["advice"])]
    for notice in result["notices"]:
        lines += ["", f"Note: {notice['text']}"] + ([f"      {notice['hint']}"] if notice["hint"] else [])
    lines += ["", f"Levels are {result['level_reference']}. The monitor advises; it is no safety device."]
    return "\n".join(lines)


def _heading(result: dict) -> str:
    words = {
        "no-input": "No sound came in.",
        "stopped": "No turning spindle was heard.",
        "spinning": "The spindle turned; no cut was heard.",
        "air-cut": "The spindle turned between cuts.",
        "cutting": "A cut was heard, and no chatter.",
        "chatter": "Chatter was heard.",
    }
    doubtful = result["unsure"] and result["state"] not in ("no-input", "stopped")
    return words[result["state"]] + (" The monitor was not always sure." if doubtful else "")


def _speed(result: dict) -> str:
    rpm, nominal = result["spindle"]["rpm"], result["setup"]["nominal_rpm"]
    if rpm is None:
        return "Spindle speed: not heard."
    text = f"Spindle speed: {rpm:.0f} rpm"
    if nominal:
        text += f" ({100 * (rpm / nominal - 1):+.1f} % of the {nominal:g} rpm given)"
    others = result["spindle"]["alternatives_rpm"]
    return text + (
        f"; it could also be {', '.join(f'{other:.0f}' for other in others)} rpm" if others else ""
    )


def _cuts(result: dict) -> list[str]:
    cuts = result["cuts"]
    if not cuts:
        return []
    lines = [f"{_count(len(cuts), 'cut')}, {result['cut_time_s']:.1f} s in the cut:"]
    for cut in cuts:
        parts = len(cut["engaged"])
        within = f" in {parts} engagements" if parts > 1 else ""
        lines.append(
            f"  {_time(cut['start_s'])} to {_time(cut['end_s'])}: "
            f"{cut['cut_time_s']:.1f} s in the cut{within}"
        )
    return lines


def _chatter(result: dict) -> list[str]:
    if not result["chatter"]:
        return []
    lines = ["Chatter:"]
    for event in result["chatter"]:
        lines.append(
            f"  {_time(event['start_s'])} to {_time(event['end_s'])}: {event['severity']}, at "
            f"{event['frequency_hz']:.0f} Hz, {event['kind']}; {100 * event['confidence']:.0f} % sure "
            f"(alarm at {_time(event['alarm_s'])})"
        )
    return lines


def _stray(result: dict) -> list[str]:
    if not result["stray"] or result["chatter"]:
        return []
    strongest = sorted(result["stray"], key=lambda tone: -tone["level_db"])[:3]
    return ["Stray tones:"] + [
        f"  {tone['frequency_hz']:.1f} Hz, {tone['level_db']:.0f} dB, {_time(tone['start_s'])} to "
        f"{_time(tone['end_s'])}: {tone['why']}"
        for tone in strongest
    ]


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("" if number == 1 else "s")


def _time(seconds: float) -> str:
    if seconds < 60:
        return f"{seconds:.1f} s"
    return f"{int(seconds // 60)} min {seconds % 60:.0f} s"
