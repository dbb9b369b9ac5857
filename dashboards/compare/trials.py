"""A blind trial as the pages show it: the plan for whoever mounts, codes for whoever grades, then the key.

Nothing of a plan is stored: its number draws it again. What is stored is each grade under its code, and that
is credited to an end mill when the key is opened.
"""

import random
from dataclasses import dataclass
from urllib.parse import urlencode

from shopmon.dashboards.errors import Refusal

from shopmon.cutting.compare.blind import BlindPlan, blind_plan
from shopmon.records.register import Register

LARGEST = 9_999_999


@dataclass(frozen=True, kw_only=True)
class Trial:
    """A plan with what was graded so far.

    Attributes
    ----------
    mills
        Labels, in the order in which the plan was drawn.
    graded
        Grade per code.
    tools
        Id of the tool of each label.
    opened
        Whether the key was opened: the readings are credited to their end mills.
    """

    plan: BlindPlan
    mills: tuple[str, ...]
    graded: dict[str, dict]
    tools: dict[str, str]

    @property
    def name(self) -> str:
        """What the readings of this trial are marked with."""
        return note_of(self.plan.seed)

    @property
    def complete(self) -> bool:
        """Whether every part is graded."""
        return len(self.graded) == len(self.plan.turns)

    @property
    def opened(self) -> bool:
        """Whether every graded part is credited to its end mill."""
        return self.complete and all(row["tool_id"] for row in self.graded.values())

    @property
    def address(self) -> str:
        """Of the page that shows this trial again."""
        parts, number = len(self.plan.turns), self.plan.seed
        return "/compare/trial?" + urlencode(
            [*(("mill", label) for label in self.mills), ("parts", parts), ("number", number)]
        )

    def open(self, register: Register) -> int:
        """Credit every graded part to the end mill that cut it; return how many were.

        Raises
        ------
        Refusal
            Some are not graded yet.
        """
        if not self.complete:
            left = len(self.plan.turns) - len(self.graded)
            raise Refusal(409, f"{left} parts are not graded yet.", "Grade them all, then open the key.")
        key = self.plan.key()
        waiting = [(code, row) for code, row in self.graded.items() if not row["tool_id"]]
        for code, row in waiting:
            register.correct("finish_readings", row["id"], "tool_id", self.tools[key[code]], "key opened")
        return len(waiting)


def note_of(seed: int) -> str:
    """Return what readings of a trial are marked with."""
    return f"blind trial {seed}"


def trial_of(register: Register, labels: list[str], parts: int, seed: int | None = None) -> Trial:
    """Return the trial of a number; without one, a new one.

    Raises
    ------
    Refusal
        An end mill is not in the register.
    SettingError
        The parts cannot be shared out evenly.
    """
    tools = {tool.label: tool.id for tool in register.tools(totals=False) if tool.is_end_mill}
    unknown = [label for label in labels if label not in tools]
    if unknown:
        raise Refusal(404, f"There is no end mill “{unknown[0][:40]}”.", "Choose from the list.")
    seed = random.SystemRandom().randint(1, LARGEST) if seed is None else seed
    plan = blind_plan(labels, parts, seed)
    codes = {turn.code for turn in plan.turns}
    graded = {
        row["piece"]: row
        for row in register.rows("finish_readings")
        if row["note"] == note_of(seed) and row["piece"] in codes
    }
    return Trial(plan=plan, mills=tuple(labels), graded=graded, tools=tools)
