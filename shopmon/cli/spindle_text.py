"""The spindle check in words."""

from math import log10

VERDICTS = {"sign": "a sign of a defect", "cannot-tell": "cannot tell", "no-sign": "no sign"}


def as_text(result: dict, name: str) -> str:
    """Return the report of one run for a person."""
    lines = [
        *(f"  ! {caution}" for caution in result["cautions"]),
        "",
        f"{name}, {result['duration_s']:.1f} s",
    ]
    lines += [_speed(result), "", *_vibration(result), "", *_bearing(result)]
    known = "angle_deg" in result["balance"]
    for notice in result["notices"]:
        if not (known and notice["code"] == "balance-unknown"):
            lines += ["", f"{notice['text']}", f"  {notice['hint']}"]
    if known:
        lines += ["", *balance_lines(result["balance"])]
    return "\n".join(lines)


def _speed(result: dict) -> str:
    if result["rpm"] is None:
        return f"Speed not heard; {result['stated_rpm']:.0f} rpm as stated."
    off = 100 * (result["rpm"] / result["stated_rpm"] - 1)
    stated = f"{off:+.1f} % against the {result['stated_rpm']:.0f} that were stated"
    return f"Speed {result['rpm']:.0f} rpm, {stated}."


def _level(value: float, unit: str) -> str:
    if unit == "FS":
        return f"{20 * log10(max(value, 1e-10)):6.1f} dB of full scale"
    return f"{value:8.4f} {unit}"


def _vibration(result: dict):
    unit = result["unit"]
    yield f"Vibration, r.m.s.            {_level(result['vibration']['rms'], unit)}"
    if (velocity := result["vibration"]["velocity_rms_mm_s"]) is not None:
        yield f"  as velocity, 10 to 1000 Hz {velocity:8.3f} mm/s"
    for row in result["orders"][:5]:
        level = _level(row["amplitude"], unit)
        yield f"  {row['order']} × rotation, {row['frequency_hz']:7.1f} Hz    {level}"


def _bearing(result: dict):
    if not result["bearing"]:
        yield "Bearing: not asked for. Give --bearing with its geometry or its multiples."
    for tone in result["bearing"]:
        sure = f", {100 * tone['confidence']:.0f} % sure" if tone["verdict"] == "sign" else ""
        yield f"{tone['part']:11} {tone['expected_hz']:7.1f} Hz expected   {VERDICTS[tone['verdict']]}{sure}"
        found = f"at {tone['found_hz']:.1f} Hz, {tone['evidence_db']:.0f} dB over its surroundings. "
        yield f"            {found if tone['verdict'] == 'sign' else ''}{tone['reason']}"


def check_as_text(result: dict) -> str:
    """Return the report of a whole check for a person."""
    lines = []
    for step in result["steps"]:
        lines += ["", f"{step['stated_rpm']:.0f} rpm", _speed(step), *_vibration(step), *_bearing(step)]
    run = result["run_up"]
    if run is not None:
        lines += ["", f"Run-up from {run['reached_rpm'][0]:.0f} to {run['reached_rpm'][1]:.0f} rpm:"]
        lines += [f"  {notice['text']} {notice['hint']}" for notice in run["notices"]]
        lines += [
            f"  rings at {mode['frequency_hz']:.0f} Hz, damping about {100 * mode['damping_ratio']:.1f} %"
            for mode in run["resonances"]
        ] or ["  nothing was found that rings"]
        lines += [
            f"  {each['flutes']} flutes: keep away from {each['low_rpm']:.0f} to {each['high_rpm']:.0f} rpm"
            for each in run["avoid"]
        ]
    lines += ["", *balance_lines(result["balance"])]
    return "\n".join(lines)


def balance_lines(balance: dict):
    """Yield what is told of the balance, or what is missing to tell it."""
    if "angle_deg" not in balance:
        yield f"No balance grade: missing are {'; '.join(balance['missing'])}."
        return
    yield from (f"  ! {caution}" for caution in balance["cautions"])
    yield (
        f"Imbalance {balance['unbalance_g_mm']:.3g} g mm (± {balance['error_g_mm']:.2g}), its heavy spot "
        f"{balance['angle_deg']:.0f}° from the mark, against the direction of rotation."
    )
    if balance["left_g_mm"] is not None:
        yield f"After the correction {balance['left_g_mm']:.3g} g mm are left."
    put = balance["correction"]
    again = balance["left_g_mm"] is not None
    how = "To take away what is left, add" if again else "Take the trial weight off; correct with"
    yield (f"{how} {put['mass_g']:.3g} g at {put['radius_mm']:g} mm, {put['angle_deg']:.0f}° from the mark.")
    if balance["grade_mm_s"] is None:
        yield f"No balance grade: missing are {'; '.join(balance['missing'])}."
    else:
        yield (
            f"Balance quality G {balance['grade_mm_s']:.2g} (ISO 21940-11) with {balance['mass_kg']:g} kg "
            f"at {balance['rpm']:.0f} rpm."
        )
    for notice in balance["notices"]:
        yield f"{notice['text']} {notice['hint']}"
