"""Whether `confidence` is a probability: how sure alarms were said to be against how many were right."""

from itertools import pairwise

from tests.bench.detector import running
from tests.bench.detector.hearing import answers
from tests.bench.detector.scoring import GRACE_S, LATE_S, wilson

BOUNDS = (0.0, 0.85, 0.93, 0.97, 1.0)


def sure(folders, told="as-drawn", jobs=1):
    """Print a table of all alarms of some folders."""
    said = []
    for folder in folders:
        wanted, truths = running.chosen(folder)
        for truth, answer in zip(truths, answers(wanted, told, jobs=jobs, progress=False), strict=True):
            if not truth["case"]["hidden"]:
                said += [
                    (alarm["confidence"], is_right(alarm["at_s"], truth["chatter"]))
                    for alarm in answer["alarms"]
                ]
    print("\nconfidence: alarms, mean said, right (95 %)")
    for line in lines(said):
        print("  " + line)


def is_right(at_s, chatter):
    """Whether it chattered when an alarm was raised, or had until just before."""
    return any(span["start_s"] - GRACE_S <= at_s <= span["end_s"] + LATE_S for span in chatter)


def lines(said):
    """Return one line for each range of confidence that occurs, and one for all."""
    table = []
    ranges = [*pairwise(BOUNDS), (BOUNDS[0], BOUNDS[-1])]
    for low, high in ranges:
        some = [(sure, right) for sure, right in said if low <= sure < high]
        if some:
            right = sum(right for _, right in some)
            low_end, high_end = wilson(right, len(some))
            table.append(
                f"{low:.2f} to {high:.2f}  {len(some):4d}  {sum(s for s, _ in some) / len(some):.3f}  "
                f"{right / len(some):.3f} ({low_end:.3f} to {high_end:.3f})"
            )
    return table
