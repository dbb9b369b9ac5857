"""A measured finish beside what geometry alone leaves (`shopmon.cutting.finishing.marks`)."""

from dataclasses import dataclass

from shopmon.cutting.nouns import require_positive

# measured over theory, by built-up edge, side flow and vibration (common practice, no source)
USUAL = (1.5, 4.0)
SAME_WIDTH = 0.1


@dataclass(frozen=True, kw_only=True)
class AgainstTheory:
    """A comparison in one number and one sentence each for height and width.

    Attributes
    ----------
    times
        Measured over theoretical height of the marks.
    """

    times: float
    height: str
    width: str


def against_theory(
    Rz_um: float,
    theory_um: float,
    *,
    RSm_mm: float | None = None,
    feed_per_tooth_mm: float | None = None,
    flutes: int | None = None,
) -> AgainstTheory:
    """Compare the measured Rz with the height of the feed marks that geometry leaves.

    Parameters
    ----------
    Rz_um, theory_um
        Measured, and of `shopmon.cutting.finishing.marks.wall_um` or ``floor_um``.
    RSm_mm, feed_per_tooth_mm, flutes
        Width of the marks, and what it may be: one mark a tooth, or one a turn.
    """
    require_positive("The measured Rz (µm)", Rz_um)
    require_positive("The height of the marks that geometry leaves (µm)", theory_um)
    times = Rz_um / theory_um
    low, high = USUAL
    where = "less than usual" if times < low else "about as usual" if times <= high else "more than usual"
    return AgainstTheory(
        times=times,
        height=f"{times:.2g} times what geometry alone leaves, {where} ({low:g} to {high:g} times).",
        width=_width(RSm_mm, feed_per_tooth_mm, flutes),
    )


def _width(RSm_mm: float | None, feed_per_tooth_mm: float | None, flutes: int | None) -> str:
    if RSm_mm is None or feed_per_tooth_mm is None or flutes is None:
        return ""
    a_turn = feed_per_tooth_mm * flutes
    if flutes > 1 and abs(RSm_mm / feed_per_tooth_mm - 1) < SAME_WIDTH:
        return f"Marks every {RSm_mm:.3g} mm: every tooth leaves one."
    if abs(RSm_mm / a_turn - 1) < SAME_WIDTH:
        return f"Marks every {RSm_mm:.3g} mm, one a turn: one tooth makes the surface (runout)."
    return (
        f"Marks every {RSm_mm:.3g} mm are neither one a tooth ({feed_per_tooth_mm:.3g} mm) "
        f"nor one a turn ({a_turn:.3g} mm)."
    )
