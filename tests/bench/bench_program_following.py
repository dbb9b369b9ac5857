"""How much cut time is credited to the right tool when a program is followed by ear.

Programs of 3 to 12 tools, machine, person and the errors of the listener are invented. The constants of the
follower were set on seeds from 100 on; the table is of seeds from 7000 on, drawn once they stood.
"""

import sys
from collections import Counter

from tests.bench.following.scoring import KINDS, one_shift

FINAL, COUNT = 7000, 24


def main(first: int = FINAL, count: int = COUNT):
    """Print a row for each shift, and the sum."""
    print("seed   tools sections  min   cut s |   right     open neighbour   other     air | live r/o/w")
    total, live = Counter(), Counter()
    for seed in range(first, first + count):
        found = one_shift(seed)
        total += found["score"]
        live += found["live"]
        print_row(found)
    print_sum(total, live)


def print_row(found: dict) -> None:
    """Print one shift."""
    score, live = found["score"], found["live"]
    cut = sum(score.values())
    shares = " ".join(f"{100 * score[kind] / max(cut, 1e-9):8.2f}" for kind in KINDS)
    heard = max(sum(live.values()), 1e-9)
    now = "/".join(f"{100 * live[kind] / heard:.1f}" for kind in ("right", "open", "wrong"))
    print(
        f"{found['seed']:<6}{found['tools']:>5} {found['sections']:>7} {found['minutes']:>6.1f} {cut:>7.0f} |"
        f" {shares} | {now}  {'; '.join(found['told'])} {dict(found['confused']) or ''}",
        flush=True,
    )


def print_sum(total: Counter, live: Counter) -> None:
    """Print what all shifts come to."""
    cut = sum(total.values())
    for kind in KINDS:
        print(f"{kind:>13}: {total[kind]:9.1f} s  {100 * total[kind] / cut:6.2f} %")
    heard = sum(live.values())
    told = ", ".join(f"{kind} {100 * live[kind] / heard:.2f} %" for kind in ("right", "open", "wrong"))
    print(f"while it is heard, without what came later: {told}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
