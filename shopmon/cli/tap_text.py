"""The tap test in words."""


def as_text(result: dict, name: str) -> str:
    """Return the report for a person, cautions first."""
    lines = [*(f"  ! {caution}" for caution in result["cautions"]), "", _hits(result, name), ""]
    lines += [_mode(mode) for mode in result["modes"]]
    options = " ".join(f"--mode {mode['option']}" for mode in result["modes"] if mode.get("option"))
    if options:
        lines += ["", "For the stability of a cut, with the modes of the other axis beside them:"]
        lines += [f"  shopmon speeds {options} --flutes N --material …"]
    for notice in result["notices"]:
        lines += ["", notice["text"], f"  {notice['hint']}"]
    return "\n".join(lines)


def _hits(result: dict, name: str) -> str:
    if not result["hits"]:
        return f"{name}: a measured response, axis {result['axis']}"
    good = sum(hit["fault"] is None for hit in result["hits"])
    return f"{name}: {len(result['hits'])} hits, {good} of them clean, axis {result['axis']}"


def _mode(mode: dict) -> str:
    hz = f"{mode['frequency_hz']:8.1f} ± {max(mode['frequency_error_hz'], 0.1):.1f} Hz"
    damping = f"damping {100 * mode['damping_ratio']:.3f} ± {100 * mode['damping_error']:.3f} %"
    if mode["stiffness_n_per_m"] is None:
        return f"{hz}   {damping}"
    share = 100 * mode["stiffness_error"] / mode["stiffness_n_per_m"]
    return f"{hz}   {damping}   stiffness {mode['stiffness_n_per_m'] / 1e6:.2f} N/µm ± {max(share, 1):.0f} %"
