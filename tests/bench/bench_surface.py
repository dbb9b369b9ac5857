"""Marks in pictures: 300 drawn walls, 300 pictures without marks; period, name, certainty, time.

``python -m tests.bench.run surface``. A case is right when the spacing of the marks that the verdict rests
on is within 1 % of the wall's strongest wave (of chatter: of any with a tenth of its power; of runout: of a
whole part of the turn) and the name is right.
"""

import sys
import time

import numpy as np

from shopmon.capture.picture_file import Picture
from shopmon.cutting.surface.marks import WallCut
from shopmon.service.walls.check import SurfaceQuestion, check_picture, heard_tones
from shopmon.signals.texture.reading import read_texture
from tests.surfaces.drawing import KINDS, Case, draw, flat

CASES = 300


def ask(case: Case, *, told_direction: bool = False, told_tool: bool = False) -> dict:
    """Put a case to the product as a person would: true scale, speed, flutes, feed, and the chatter heard.

    Diameter and helix, which a tool of the register has, are told or not.
    """
    wall = case.wall
    tool = {"diameter_mm": wall.diameter_mm, "helix_deg": wall.helix_deg} if told_tool else {}
    cut = WallCut(rpm=wall.rpm, flutes=wall.flutes, feed_mm_min=wall.feed_mm_min, **tool)
    question = SurfaceQuestion(
        um_per_pixel=case.camera.um_per_px,
        cut=cut,
        heard=heard_tones([wall.chatter_hz] if wall.chatter_hz else []),
        feed_direction_deg=case.camera.turned_deg if told_direction else None,
    )
    grey = case.picture()
    return check_picture(Picture(grey=grey, whole_px=grey.shape[::-1]), question)


def right(case: Case, told: dict) -> tuple[bool, bool]:
    """Judge period and name; of runout any whole part of the turn counts, of chatter any strong wave."""
    if told["spacing_mm"] is None:
        return False, False
    truths = list(case.waves_mm) if case.kind == "chatter" else [case.spacing_mm]
    if case.kind == "turn":
        truths = [case.wall.fz_mm * case.wall.flutes / part for part in range(1, case.wall.flutes + 1)]
    period = min(abs(told["spacing_mm"] / truth - 1) for truth in truths) < 0.01
    return period, told["verdict"] == case.kind


def main() -> None:
    """Print the table."""
    first = int(sys.argv[1]) if len(sys.argv) > 1 and sys.argv[1].isdigit() else 0
    for told_direction, told_tool in ((True, False), (False, False), (False, True)):
        rows = {kind: [] for kind in KINDS}
        offs, took, wrong = [], [], []
        for seed in range(first, first + CASES):
            case = draw(seed)
            began = time.process_time()
            told = ask(case, told_direction=told_direction, told_tool=told_tool)
            took.append(time.process_time() - began)
            rows[case.kind].append((*right(case, told), told["verdict"] == "cannot-tell"))
            if not all(rows[case.kind][-1][:2]):
                wrong.append((seed, case.kind, told["verdict"], case.spacing_mm, told["spacing_mm"]))
            if told["spacing_mm"] and abs(told["spacing_mm"] / case.spacing_mm - 1) < 0.03:
                spread = np.hypot(told["spacing_u_mm"], 0) / told["spacing_mm"]
                offs.append((told["spacing_mm"] / case.spacing_mm - 1, spread))
        tool = ", diameter and helix known" if told_tool else ""
        print(f"feed's direction {'told' if told_direction else 'not told'}{tool}", flush=True)
        for kind, results in rows.items():
            table = np.array(results)
            both = (table[:, 0] & table[:, 1]).mean()
            print(
                f"  {kind:8} {len(table)} cases: period within 1 % {table[:, 0].mean():6.1%}, name right "
                f"{table[:, 1].mean():6.1%}, both {both:6.1%}, cannot tell {table[:, 2].mean():5.1%}"
            )
        every = np.array([result for results in rows.values() for result in results])
        print(f"  all      {len(every)} cases: both right {(every[:, 0] & every[:, 1]).mean():6.1%}")
        off = np.array(offs)
        middle, high = np.quantile(abs(off[:, 0]), [0.5, 0.95])
        print(f"  error of the spacing, median {middle:.2%}, 95th of a hundred {high:.2%}")
        print(f"  processor time a picture, drawing it included: median {np.median(took):.2f} s")
        for each in wrong[:12]:
            print("   ", each)
    false = [
        (seed, texture) for seed in range(first, first + CASES) if (texture := read_texture(flat(seed))).marks
    ]
    print(f"pictures without marks: {CASES}, something found in {len(false)}")
    for seed, texture in false[:10]:
        print(
            "   ",
            seed,
            seed % 5,
            [(round(m.period_px, 1), round(m.ratio, 1), round(m.certainty, 2)) for m in texture.marks],
        )


if __name__ == "__main__":
    main()
