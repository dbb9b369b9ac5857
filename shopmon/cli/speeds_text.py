"""Speeds and depths told to a person."""

from textwrap import wrap

from shopmon.cli.advice_text import advice_lines
from shopmon.cli.speeds_wall import wall_lines

LINES, WIDTH = 24, 40
CAUTION_WIDTH = 96


def as_text(result: dict, case, deepest_mm: float) -> str:
    """Tell the verdicts, the limits and the advice in a few plain lines.

    Parameters
    ----------
    result
        ``shopmon.speeds/1``.
    case
        The `StabilityCase` that was judged; None where a tone was all there was.
    deepest_mm
        How deep was looked for the limits.
    """
    lines = [_point(row) for row in result["points"]]
    if result.get("limits"):
        lines += ["", "Deepest quiet cut:", *_limits(result["limits"], deepest_mm)]
    lines += _smooth(case, deepest_mm)
    if "wall" in result:
        lines += wall_lines(result["wall"])
    lines += ["", *advice_lines(result["advice"])]
    if "caution" in result:
        lines += wrap(result["caution"], CAUTION_WIDTH)
    return "\n".join([*lines, "", "The monitor advises; it is no safety device."]).lstrip("\n")


def _point(row: dict) -> str:
    where = f"{row['rpm']:6.0f} rpm, {row['ap_mm']:g} mm deep: "
    if row["spectral_radius"] is None:
        return where + _averaged(row)
    if row["verdict"] == "quiet":
        return f"{where}quiet (a disturbance shrinks to {100 * row['spectral_radius']:.0f} % each period)"
    kind = f", {row['kind']}" if row["kind"] else ""
    return f"{where}chatter at {row['chatter_hz']:.0f} Hz{kind}"


def _averaged(row: dict) -> str:
    limit = f" (the limit there is {row['ap_limit_mm']:.2f} mm)" if row["ap_limit_mm"] is not None else ""
    return f"quiet{limit}" if row["verdict"] == "quiet" else f"chatter at {row['chatter_hz']:.0f} Hz{limit}"


def _limits(rows: list[dict], deepest_mm: float) -> list[str]:
    """Draw a bar for each speed, the rows thinned to what fits a screen; every pocket keeps its best row."""
    group = -(-len(rows) // LINES)

    def depth(row):
        return deepest_mm if row["ap_limit_mm"] is None else row["ap_limit_mm"]

    kept = [max(rows[start : start + group], key=depth) for start in range(0, len(rows), group)]
    most = max(depth(row) for row in kept) or 1.0
    lines = []
    for row in kept:
        bar = "=" * max(1, round(WIDTH * depth(row) / most))
        told = f"{row['ap_limit_mm']:.2f} mm" if row["ap_limit_mm"] is not None else f"over {deepest_mm:g} mm"
        lines.append(f"{row['rpm']:8.0f} rpm  {told:>12}  {bar}")
    if group > 1:
        lines.append(f"  (the best of each {group} speeds; --json holds them all)")
    return lines


def _smooth(case, deepest_mm: float) -> list[str]:
    """Depths at which the length of edge in the cut stays the same."""
    if case is None or not case.helix_deg or case.pitch_deg:
        return []
    from shopmon.cutting.finishing.smooth_depths import smooth_depths_mm

    depths = smooth_depths_mm(case.diameter_mm, case.flutes, case.helix_deg, deepest_mm)
    told = ", ".join(f"{depth:.2f}" for depth in depths[:6])
    return ["", f"Smooth depths for a wall (whole axial pitches): {told} mm"] if depths else []
