"""Credits cuts to the tools of a followed program, and keeps the doubtful ones for the person."""

from collections.abc import Sequence
from typing import Any

from shopmon.cutting.program.reading import Program
from shopmon.errors import SettingError
from shopmon.listening.following.credit import Credit
from shopmon.records.archive import Archive
from shopmon.service.programs.sections import said_name, section_words

# who said it themselves is believed more than the sound
SAID_BY_SOMEBODY = ("touched", "macro", "corrected")
WHOLLY = 0.95  # of a cut's time must be sure and of one tool


class Creditor:
    """Settles cuts.

    Parameters
    ----------
    archive
        The log, the register and the programs.
    """

    def __init__(self, archive: Archive):
        self._archive, self._programs, self._register = archive, archive.programs, archive.register

    def settle(
        self,
        cut_id: str,
        credits: Sequence[Credit],
        program: Program,
        facts: dict[str, Any],
        tools: dict[int, str],
    ) -> None:
        """Credit a cut to the tool that it is sure to be of; else take it from whom it had, and ask.

        Parameters
        ----------
        credits
            Of its engagements.
        program, facts
            That was followed.
        tools
            The tool of the register for each T number.
        """
        cut = self._archive.cut(cut_id)
        if cut is None or cut["origins"].get("end_mill_id") in SAID_BY_SOMEBODY:
            return
        if cut["context"].get("end_mill") and cut["origins"].get("end_mill") in SAID_BY_SOMEBODY:
            return
        tool, sure = whose(credits)
        number = _section_of(credits, tool)
        note = f"heard as section {section_words(program, number)}" if number is not None else "heard"
        had = cut["context"].get("end_mill_id")
        if sure and tool in tools:
            if had != tools[tool]:
                self._register.credit([cut_id], tools[tool], note)
            return
        if had is not None:
            self._register.credit([cut_id], None, "nobody is sure whose it was")
        self._programs.doubt(
            cut_id,
            {
                "open": True,
                "sure": sure,
                "program_id": facts["id"],
                "program": facts["name"],
                "tool": tool,
                "candidates": _candidates(credits, program, tool if sure else None),
            },
        )

    def tools_named(self, program_id: str) -> None:
        """Credit what waited only for its T number to get a tool of the register."""
        tools = self._programs.tools(program_id)
        for doubt in self._programs.doubts():
            if doubt["program_id"] == program_id and doubt["sure"] and doubt["tool"] in tools:
                self._register.credit(
                    [doubt["cut_id"]], tools[doubt["tool"]], "its T number was given a tool"
                )
                self._programs.doubt(doubt["cut_id"], {"open": False})

    def doubts(self, limit: int) -> list[dict[str, Any]]:
        """Return the newest cuts that wait for the person, each with the tools that it could be of."""
        labels = {tool.id: tool.label for tool in self._register.tools(totals=False)}
        found = []
        for doubt in self._programs.doubts()[:limit]:
            tools = self._programs.tools(doubt["program_id"])
            cut = self._archive.cut(doubt["cut_id"])
            if cut is None:
                continue
            choices = [
                {
                    **candidate,
                    "tool_id": tools.get(candidate["tool"]),
                    "label": labels.get(tools.get(candidate["tool"]))
                    or said_name(candidate["tool"], doubt["program"]),
                }
                for candidate in doubt["candidates"]
            ]
            found.append(
                {
                    "cut_id": doubt["cut_id"],
                    "t": cut["started_at"],
                    "cut_time_s": cut["cut_time_s"],
                    "program": doubt["program"],
                    "program_id": doubt["program_id"],
                    "sure": doubt["sure"],
                    "choices": choices,
                }
            )
        return found

    def confirm(self, cut_id: str, tool_id: str | None) -> None:
        """Credit a doubtful cut to a tool of the register, or to nobody.

        Raises
        ------
        SettingError
            It does not wait for anybody, or the tool is not known.
        """
        if not any(doubt["cut_id"] == cut_id for doubt in self._programs.doubts()):
            raise SettingError("This cut does not wait to be confirmed.", "Look at the list under Programs.")
        self._register.credit([cut_id], tool_id, "confirmed by a person")
        self._programs.doubt(cut_id, {"open": False})


def whose(credits: Sequence[Credit]) -> tuple[int | None, bool]:
    """Return the tool that most of a cut is of, and whether that is sure of nearly all of it."""
    seconds: dict[int | None, float] = {}
    sure: dict[int | None, float] = {}
    for credit in credits:
        length = credit.end_s - credit.start_s
        seconds[credit.tool] = seconds.get(credit.tool, 0.0) + length
        sure[credit.tool] = sure.get(credit.tool, 0.0) + length * credit.certain
    if not seconds:
        return None, False
    tool = max(seconds, key=seconds.get)
    return tool, tool is not None and sure[tool] >= WHOLLY * sum(seconds.values())


def _section_of(credits: Sequence[Credit], tool: int | None) -> int | None:
    return next((credit.section for credit in credits if credit.tool == tool), None)


def _candidates(credits: Sequence[Credit], program: Program, only: int | None) -> list[dict[str, Any]]:
    """Return the tools that it could be of, most seconds first, each with its first section."""
    shares: dict[int, tuple[float, int]] = {}
    for credit in credits:
        for section in credit.candidates:
            tool = program.sections[section].tool
            if tool is None or (only is not None and tool != only):
                continue
            seconds, first = shares.get(tool, (0.0, section))
            shares[tool] = (seconds + credit.end_s - credit.start_s, first)
    order = sorted(shares, key=lambda tool: -shares[tool][0])
    return [{"tool": tool, "section": section_words(program, shares[tool][1])} for tool in order]
