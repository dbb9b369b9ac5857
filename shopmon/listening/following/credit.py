"""Whose cut it was: the tool that an engagement is credited to, or left open for the person."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shopmon.listening.following.model import STEP_S, ProgramModel

SURE, LIKELY, WORTH_NAMING = 0.98, 0.75, 0.02


@dataclass(frozen=True)
class Credit:
    """An engagement with its most probable section.

    Attributes
    ----------
    start_s, end_s
        From the first step.
    section
        Index of the most probable section, None where anything else is more probable.
    tool
        Its tool; None where nobody can know it.
    probability
        That it was cut by this tool.
    certain
        It is credited to the tool without asking.
    candidates
        Sections that it could be, most probable first.
    """

    start_s: float
    end_s: float
    section: int | None
    tool: int | None
    probability: float
    certain: bool
    candidates: tuple[int, ...]


def credits_of(
    engaged_s: Sequence[tuple[float, float]], probabilities: np.ndarray, model: ProgramModel
) -> list[Credit]:
    """Credit each engagement as a whole: the tool does not change while it is in metal.

    Parameters
    ----------
    engaged_s
        Start and end of each, from the first step.
    probabilities
        (steps, sections), as `Tracker.smoothed` gives them.
    model
        Of the program.
    """
    return [_credit(start, end, probabilities, model) for start, end in engaged_s]


def _credit(start_s: float, end_s: float, probabilities: np.ndarray, model: ProgramModel) -> Credit:
    first = int(start_s / STEP_S)
    last = max(first + 1, int(np.ceil(end_s / STEP_S)))
    edges = np.arange(first, last + 1) * STEP_S
    overlap = np.minimum(edges[1:], end_s) - np.maximum(edges[:-1], start_s)
    rows = probabilities[first:last]
    if not len(rows):
        return Credit(start_s, end_s, None, None, 0.0, False, ())
    weights = np.maximum(overlap[: len(rows)], 1e-6)
    sections = weights @ rows / weights.sum()
    by_tool: dict[int | None, float] = {}
    for tool, share in zip(model.tools, sections, strict=True):
        by_tool[tool] = by_tool.get(tool, 0.0) + float(share)
    tool = max(by_tool, key=by_tool.get)
    order = np.argsort(-sections)
    candidates = tuple(int(k) for k in order if sections[k] >= WORTH_NAMING)
    best = next((int(k) for k in order if model.tools[k] == tool), None)
    probability = by_tool[tool]
    return Credit(
        start_s,
        end_s,
        best if probability > 1 - sections.sum() else None,
        tool,
        min(probability, 1.0),
        probability >= SURE and tool is not None,
        candidates,
    )


def in_words(probability: float) -> str:
    """Say how sure a probability is.

    >>> in_words(0.99), in_words(0.8), in_words(0.5)
    ('sure', 'likely', 'not sure')
    """
    return "sure" if probability >= SURE else "likely" if probability >= LIKELY else "not sure"
