"""Blind trials: the plan for whoever mounts, codes for whoever grades, and then the key.

What was drawn is kept as a number that draws it again. Each grade is a finish reading under its code; it is
credited to an end mill when the key is opened, and not before.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass

from shopmon.cutting.compare.blind import BlindPlan, blind_plan
from shopmon.errors import SettingError
from shopmon.records.tools.reading import RegisterReading
from shopmon.records.tools.register import Register

LARGEST = 9_999_999


@dataclass(frozen=True, kw_only=True)
class Trial:
    """A trial with what was graded so far.

    Attributes
    ----------
    t
        When it was drawn, seconds since 1970; None where the clock was not set.
    plan
        Its end mills are ids.
    labels
        The label of each end mill now.
    graded
        The finish reading per code.
    """

    id: str
    t: float | None
    plan: BlindPlan
    labels: dict[str, str]
    material: str | None
    operation: str | None
    graded: dict[str, dict]

    @property
    def mills(self) -> str:
        """Name the end mills."""
        return " and ".join(self.labels.values())

    @property
    def note(self) -> str:
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
    def stands(self) -> str:
        """Say how far it has come."""
        if self.opened:
            return "the key is open"
        if self.complete:
            return "every part is graded: open the key"
        return f"{len(self.graded)} of {len(self.plan.turns)} parts are graded"


def draw_trial(
    register: Register,
    tool_ids: Sequence[str],
    parts: int,
    material: str | None = None,
    operation: str | None = None,
) -> str:
    """Draw a trial and keep it; return its id.

    Raises
    ------
    SettingError
        Something that is no end mill in use, or parts that cannot be shared out evenly.
    """
    mills = {tool.id for tool in register.tools(totals=False) if tool.is_end_mill and not tool.retirement}
    if not all(tool_id in mills for tool_id in tool_ids):
        raise SettingError("A blind trial is of end mills in use.", "Choose them from the list.")
    seed = random.SystemRandom().randint(1, LARGEST)
    blind_plan(tool_ids, parts, seed)
    kept = list(dict.fromkeys(tool_ids))
    values = {"seed": seed, "tool_ids": kept, "parts": parts, "material": material, "operation": operation}
    return register.add("blind_trials", values)


def trials(register: RegisterReading) -> list[Trial]:
    """Return every trial, the newest first."""
    readings = [row for row in register.rows("finish_readings") if row["note"].startswith(note_of(""))]
    labels = {tool.id: tool.label for tool in register.tools(totals=False)}
    return [_trial(row, readings, labels) for row in reversed(register.rows("blind_trials"))]


def trial_of(register: RegisterReading, trial_id: str) -> Trial:
    """Return one trial.

    Raises
    ------
    SettingError
        There is none of this id.
    """
    row = register.row("blind_trials", trial_id)
    labels = {tool.id: tool.label for tool in register.tools(totals=False)}
    return _trial(row, register.rows("finish_readings"), labels)


def open_key(register: Register, trial: Trial) -> int:
    """Credit every graded part to the end mill that cut it; return how many were.

    Raises
    ------
    SettingError
        Some are not graded yet.
    """
    if not trial.complete:
        left = len(trial.plan.turns) - len(trial.graded)
        parts = "1 part is" if left == 1 else f"{left} parts are"
        raise SettingError(f"{parts} not graded yet.", "Grade them all, then open the key.")
    key = trial.plan.key()
    waiting = [(code, row) for code, row in trial.graded.items() if not row["tool_id"]]
    for code, row in waiting:
        register.correct("finish_readings", row["id"], "tool_id", key[code], "key opened")
    return len(waiting)


def note_of(seed: int | str) -> str:
    """Return what readings of a trial are marked with."""
    return f"blind trial {seed}"


def _trial(row: dict, readings: Sequence[dict], labels: dict[str, str]) -> Trial:
    plan = blind_plan(row["tool_ids"], row["parts"], row["seed"])
    codes = {turn.code for turn in plan.turns}
    graded = {
        reading["piece"]: reading
        for reading in readings
        if reading["note"] == note_of(row["seed"]) and reading["piece"] in codes
    }
    return Trial(
        id=row["id"],
        t=row["t"],
        plan=plan,
        labels={tool_id: labels[tool_id] for tool_id in row["tool_ids"]},
        material=row["material"],
        operation=row["operation"],
        graded=graded,
    )
