"""Credits against the truth of a shift, in seconds."""

from collections import Counter

from shopmon.cutting.program.reading import read_program
from shopmon.listening.following.credit import credits_of
from shopmon.listening.following.model import ProgramModel
from shopmon.listening.following.tracker import Tracker
from tests.bench.following.ears import heard
from tests.bench.following.machine import Person, Shift
from tests.bench.following.parts import Part

KINDS = ("right", "open", "a neighbour", "another tool", "air")


def one_shift(seed: int) -> dict:
    """Draw a program and a shift, follow it, and score it."""
    part = Part(seed)
    program = read_program(lambda: part.text)
    shift = Person(seed, part).work()
    steps, engaged = heard(shift, seed)
    model = ProgramModel(program.sections)
    tracker = Tracker(model)
    live = Counter()
    for number, step in enumerate(steps):
        tracker.take(step)
        if step.engaged > 0.5:
            now = tracker.sections()
            truth = tool_at(shift, (number + 0.5) * 0.5)
            best = int(now.argmax())
            sure = sum(now[k] for k in range(model.count) if model.tools[k] == model.tools[best])
            live["open" if sure < 0.98 else "right" if model.tools[best] == truth else "wrong"] += 0.5
    credits = credits_of(engaged, tracker.smoothed(), model)
    score, confused = Counter(), Counter()
    for credit in credits:
        score_credit(credit, shift, model, score, confused)
    return {
        "seed": seed,
        "tools": len(program.tools),
        "sections": model.count,
        "minutes": shift.now_s / 60,
        "told": sorted(set(shift.told)),
        "score": score,
        "live": live,
        "confused": confused,
        "warnings": program.warnings,
    }


def tool_at(shift: Shift, time_s: float) -> int | None:
    """Return the tool in the spindle."""
    return next((s.tool for s in shift.stretches if s.start_s <= time_s < s.end_s), None)


def score_credit(credit, shift: Shift, model: ProgramModel, score: Counter, confused: Counter) -> None:
    """Add the seconds of one engagement to what they were."""
    middle = (credit.start_s + credit.end_s) / 2
    truth = next((s for s in shift.stretches if s.start_s <= middle < s.end_s), None)
    length = credit.end_s - credit.start_s
    overlaps = [
        s for s in shift.stretches if s.metal and s.start_s < credit.end_s and s.end_s > credit.start_s
    ]
    if not credit.certain:
        score["open"] += length
        return
    tools = {s.tool for s in overlaps}
    if not overlaps:
        score["air"] += length
    elif credit.tool in tools:
        score["right"] += length
    else:
        order = list(dict.fromkeys(model.tools))
        near = truth.tool in order and abs(order.index(truth.tool) - order.index(credit.tool)) == 1
        score["a neighbour" if near else "another tool"] += length
        confused[(truth.tool, credit.tool)] += length
