"""What maps of stability cost: ``python tests/bench/run.py stability``."""

import time
from dataclasses import replace

import numpy as np

from shopmon.cutting.stability.maps import stability_map
from shopmon.cutting.stability.semidiscretization import stability
from shopmon.cutting.stability.tip_receptance import receptance_of_modes
from shopmon.cutting.stability.zeroth_order import zeroth_order_limits
from tests.published.milling_points import two_direction_case

RPM, DEPTHS_MM = np.linspace(4000, 24000, 200), np.linspace(0.1, 6.0, 100)
CASES = {
    "5 % climb": two_direction_case("B", 0.05, "climb"),
    "half climb": two_direction_case("B", 0.5, "climb"),
    "slot": two_direction_case("B", 1.0, "slot"),
    "5 % climb, helix 40°": replace(two_direction_case("B", 0.05, "climb"), helix_deg=40.0),
    "slot, helix 40°": replace(two_direction_case("B", 1.0, "slot"), helix_deg=40.0),
}
CHECKED = 12


def cpu_s(work):
    """CPU seconds of one call, and its result."""
    begin = time.process_time()
    result = work()
    return time.process_time() - begin, result


def main() -> None:
    """Print the table."""
    matrix = np.random.default_rng(0).standard_normal((400, 400))
    yard_s, _ = cpu_s(lambda: np.linalg.eigvals(matrix))
    print("200 x 100 map of a cutter with a mode in x and one in y, CPU s; yardsticks: the plain method,")
    print(f"from {CHECKED} points, and eigenvalues of one 400 x 400 matrix {1e3 * yard_s:.0f} ms")
    print(f"{'cut':24} {'map':>7} {'plain':>8} {'spectral radius apart at most, %':>34}")
    rng = np.random.default_rng(1)
    for name, case in CASES.items():
        map_s, found = cpu_s(lambda case=case: stability_map(case, RPM, DEPTHS_MM))
        rows, columns = rng.integers(RPM.size, size=CHECKED), rng.integers(DEPTHS_MM.size, size=CHECKED)
        points = list(zip(RPM[rows], DEPTHS_MM[columns], strict=True))
        plain_s, plain = cpu_s(
            lambda case=case, points=points: [stability(case, *point).spectral_radius for point in points]
        )
        apart = 100 * np.abs(found.spectral_radius[rows, columns] / plain - 1).max()
        print(f"{name:24} {map_s:7.2f} {plain_s / CHECKED * RPM.size * DEPTHS_MM.size:8.0f} {apart:34.3f}")
    print("\nzeroth-order limits at the same 200 speeds, CPU s")
    for name, case in CASES.items():
        tip = receptance_of_modes(case.modes)
        lobes_s, _ = cpu_s(lambda case=case, tip=tip: zeroth_order_limits(case, *tip, RPM))
        print(f"{name:24} {lobes_s:7.3f}")


if __name__ == "__main__":
    main()
