"""A finishing pass judged before it is tried: the whole wall in one depth against several step-downs."""

from dataclasses import dataclass

from shopmon.cutting.finishing.deflection import Cantilever, WallError, wall_error
from shopmon.cutting.forces import EdgeForces, turn_forces
from shopmon.cutting.nouns import require, require_positive
from shopmon.cutting.stability.maps import stability_map
from shopmon.cutting.stability.semidiscretization import CutCase, StabilityCase

MOST_PASSES = 50


@dataclass(frozen=True, kw_only=True)
class FinishingPlan:
    """One way to finish a wall.

    Attributes
    ----------
    passes, ap_mm
        Equal step-downs and the depth of each.
    wall
        What bending leaves in each of them; nothing is credited for rubbing over the pass above.
    peak_n
        Largest force on the tool.
    spectral_radius
        Growth of a disturbance over one period, None where nothing is known of the modes.
    """

    passes: int
    ap_mm: float
    wall: WallError
    peak_n: float
    spectral_radius: float | None

    @property
    def quiet(self) -> bool | None:
        """Whether it stays free of chatter; None where that is not known."""
        return None if self.spectral_radius is None else self.spectral_radius <= 1

    @property
    def step_um(self) -> float:
        """Height of the marks between step-downs; one pass has none."""
        return self.wall.step_um if self.passes > 1 else 0.0


def finishing_plans(
    tool: Cantilever,
    cut: CutCase,
    forces: EdgeForces,
    feed_per_tooth_mm: float,
    height_mm: float,
    rpm: float,
    counts: tuple[int, ...] = (1, 2, 3, 4),
) -> tuple[FinishingPlan, ...]:
    """Compare numbers of step-downs over a wall.

    Parameters
    ----------
    tool
        As it bends.
    cut
        Tool and arc; with a `StabilityCase`, which knows the modes, the plans say whether they chatter.
    forces, feed_per_tooth_mm
        Coefficients and feed.
    height_mm
        Of the wall.
    rpm
        Spindle speed.
    counts
        Numbers of equal step-downs.
    """
    require_positive("height_mm", height_mm)
    require_positive("rpm", rpm)
    good = all(1 <= count <= MOST_PASSES for count in counts)
    require(good, f"Step-downs must be from 1 to {MOST_PASSES}, not {counts!r}.")
    depths = [height_mm / count for count in counts]
    walls = [wall_error(tool, cut, forces, feed_per_tooth_mm, ap_mm) for ap_mm in depths]
    radii = [None] * len(depths)
    if isinstance(cut, StabilityCase):
        radii = stability_map(cut, [rpm], depths).spectral_radius[0].tolist()
    return tuple(
        FinishingPlan(
            passes=count,
            ap_mm=ap_mm,
            wall=wall,
            peak_n=turn_forces(cut, forces, feed_per_tooth_mm, ap_mm).peak_n,
            spectral_radius=radius,
        )
        for count, ap_mm, wall, radius in zip(counts, depths, walls, radii, strict=True)
    )
