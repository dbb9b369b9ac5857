"""What follows from the tool in the spindle: flutes, holder, stickout, the speed used last."""

from collections.abc import Mapping
from typing import Any

from shopmon.errors import SettingError
from shopmon.records.tools.register import Register
from shopmon.records.tools.rows import FOLLOWS_THE_TOOL

# said of the cut with the tool before; nobody has said it of the new one
ENDS_WITH_THE_TOOL = ("ap_mm", "ae_mm", "feed_mm_min", "max_vc_m_min", "program_section", "expected_cut_s")


def with_tool(
    values: Mapping[str, Any], now: Mapping[str, Any], register: Register, origin: str
) -> tuple[dict[str, Any], dict[str, str]]:
    """Return values and origins of a change of context, with all that follows from the tool named in it.

    A tool is named by its id or its label; a name that the register does not know is kept as it was said, and
    its cuts can be credited to a tool later. What is given outright wins over what follows.

    Parameters
    ----------
    values
        What was said, checked.
    now
        The context so far.
    origin
        Who said it.

    Raises
    ------
    SettingError
        An id that the register does not know.
    """
    origins = dict.fromkeys(values, origin)
    if "end_mill" not in values and "end_mill_id" not in values:
        return dict(values), origins
    follows = _following(values, now, register)
    guessed = {"nominal_rpm": "guessed"} if "nominal_rpm" in follows else {}
    return {**follows, **values, **_names(follows)}, {**dict.fromkeys(follows, origin), **guessed, **origins}


def _names(follows: Mapping[str, Any]) -> dict[str, Any]:
    # the tool's own name and id, however it was called
    return {name: follows[name] for name in ("end_mill", "end_mill_id")}


def _following(values: Mapping[str, Any], now: Mapping[str, Any], register: Register) -> dict[str, Any]:
    word = values.get("end_mill_id") or values.get("end_mill")
    tool = register.find(word) if word else None
    if tool is None:
        if values.get("end_mill_id"):
            raise SettingError("The register has no tool with this id.", "Choose one under End mills.")
        same = word is not None and word == now.get("end_mill")
        unknown = dict.fromkeys(FOLLOWS_THE_TOOL if not same else ())
        changed = {} if same else dict.fromkeys(ENDS_WITH_THE_TOOL)
        return {"end_mill_id": None, **unknown, **changed, "end_mill": word}
    if tool.id == now.get("end_mill_id"):
        return tool.context()
    used_rpm = register.last_told_rpm(tool.id)
    speed = {} if used_rpm is None else {"nominal_rpm": used_rpm}
    return {**dict.fromkeys(ENDS_WITH_THE_TOOL), **tool.context(), **speed}
