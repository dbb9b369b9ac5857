"""Advice told to a person, the same by every command that gives any."""

from textwrap import wrap

WIDTH = 96
ACTIONS = {
    "less-depth": "Less depth",
    "less-stickout": "Less stickout",
    "other-tool": "Another tool",
    "none": "No other speed",
}
SAME_SPEED = 0.002


def advice_lines(entries: list[dict]) -> list[str]:
    """Tell what to do and why, the best first; each caution only once.

    Parameters
    ----------
    entries
        The fields of `shopmon.cutting.advising.one_line.Advice`, each as a dict.
    """
    lines, said = [], set()
    for entry in entries:
        told = [entry["reason"], entry["caution"] if entry["caution"] not in said else ""]
        lines.append(_action(entry))
        lines += [f"  {line}" for text in told for line in wrap(text, WIDTH)]
        said.add(entry["caution"])
    return lines


def _action(entry: dict) -> str:
    chance = entry["probability_quiet"]
    sure = f", {100 * chance:.0f} % likely to be quiet" if chance is not None else ""
    if entry["action"] == "none" and chance is not None:
        return f"Leave the cut as it is{sure}"
    if entry["action"] != "speed":
        return ACTIONS[entry["action"]] + sure
    rpm, command_rpm = entry["rpm"], entry["command_rpm"]
    true = f" (true speed {rpm:.0f})" if abs(command_rpm - rpm) > SAME_SPEED * rpm else ""
    override = f", override {entry['override_percent']:.0f} %" if entry["override_percent"] else ""
    feed = f", feed × {entry['feed_factor']:.2f}" if entry["feed_factor"] else ""
    return f"Program {command_rpm:.0f} rpm{true}{override}{feed}{sure}"
