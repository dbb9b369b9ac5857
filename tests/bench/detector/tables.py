"""The tables: every row with its interval, ours beside both plain methods."""

import numpy as np

from tests.bench.detector import scoring
from tests.bench.detector.plain import METHODS

SNR_BANDS = ((-5, 0), (0, 5), (5, 10), (10, 20), (20, 31))
WORST = 20
LEAST_IN_A_ROW = 5
AUDIBLE_DB = 10.0
OTHER_ROTATION = {
    "neighbour",
    "neighbour starts",
    "hand tool",
    "other spindle",
    "compressor",
    "music",
    "voice",
    "axis drive",
    "hum",
    "long notes",
    "signal tones",
    "steady comb",
    "whistle",
}


def percent(good, total):
    """A share with its interval, in per cent."""
    if total == 0:
        return f"{'-':>22s}"
    low, high = scoring.wilson(good, total)
    return f"{100 * good / total:5.1f} [{100 * low:3.0f}-{100 * high:3.0f}] of {total:3d}"


def row(label, ours, plain):
    """One row: sensitivity and specificity with intervals, balanced accuracy; that of the plain methods."""
    hits, ringing, quiet, others = scoring.counted(ours)
    beside = "  ".join(number(scoring.balanced(plain[name])) for name in METHODS)
    print(
        f"{label:26s} {percent(hits, ringing)}  {percent(quiet, others)}  "
        f"{number(scoring.balanced(ours))}   {beside}"
    )


def number(value):
    """A balanced accuracy, or a dash."""
    return "    -" if np.isnan(value) else f"{value:5.3f}"


def show(ours, plain, thresholds):
    """Print everything about a list of judged cases.

    Parameters
    ----------
    ours
        Judged cases, marginal ones left out.
    plain
        The same cases as each plain method judged them, by its name.
    thresholds
        The threshold that each plain method was given, dB.

    Returns
    -------
    list
        The worst cases.
    """
    visible = [case for case in ours if not case.case["hidden"]]
    main = [case for case in visible if case.case["snr_db"] >= 0]
    print(f"{len(ours)} cases, {len(visible)} off the comb, {len(main)} of these at 0 dB and up")
    print(f"plain methods: once-per-revolution variance over {thresholds['revolution']:g} dB,", end=" ")
    print(f"peaks off the tooth harmonics over {thresholds['peaks']:g} dB")
    print(f"{'':26s} {'sensitivity (no early)':22s}  {'specificity':22s}  bal.   once/rev  peaks")
    for label, wanted in groups(visible):
        chosen = [case for case in visible if wanted(case)]
        same = {id(case.truth) for case in chosen}
        beside = {name: [case for case in plain[name] if id(case.truth) in same] for name in METHODS}
        if len(chosen) >= LEAST_IN_A_ROW:
            row(label, chosen, beside)
    delays(main)
    cut_times(visible)
    speeds(visible)
    doubling([case for case in ours if case.case["hidden"]])
    return worst(main)


def groups(cases):
    """Rows of the main table: label and which cases; all but the bands themselves from 0 dB up."""

    def loud(case):
        return case.case["snr_db"] >= 0

    rows = [("everything from 0 dB", loud)]
    rows.append(
        ("  chatter against stable", lambda case: loud(case) and case.case["kind"] in ("chatter", "stable"))
    )
    rows.append(("clear (10 dB, 6 dB over)", lambda case: loud(case) and case.clear))
    rows += [
        (f"{low} to {high} dB", lambda case, low=low, high=high: low <= case.case["snr_db"] < high)
        for low, high in SNR_BANDS
    ]
    for key in ("sensor", "speed_error", "physics", "kind", "material"):
        values = sorted({str(case.case[key]) for case in cases})
        rows += [
            (f"{key} {value}", lambda case, key=key, value=value: loud(case) and str(case.case[key]) == value)
            for value in values
        ]
    for flutes in sorted({case.truth["spindle"]["flutes"] for case in cases}):
        rows.append(
            (f"{flutes} flutes", lambda case, n=flutes: loud(case) and case.truth["spindle"]["flutes"] == n)
        )
    tags = sorted({tag for case in cases for tag in case.case["tags"]})
    rows += [(f"with {tag}", lambda case, tag=tag: loud(case) and tag in case.case["tags"]) for tag in tags]
    return rows


def delays(cases):
    """Print how soon, in seconds, revolutions and floors, and at which frequency."""
    hits = [case for case in cases if case.outcome == "hit"]
    strong = [case for case in hits if case.case["chatter_over_comb_db"] >= scoring.CLEAR_OVER_DB]
    print("\ndelay from onset to alarm: median / 90 %")
    for label, some in (("all hits", hits), ("chatter 6 dB over the comb", strong)):
        if not some:
            continue
        delay = np.array([case.delay_s for case in some])
        turns = delay * [scoring.rotation_hz(case.truth, case.onset_s) for case in some]
        floors = delay / [scoring.floor_s(case) for case in some]
        print(
            f"  {label:27s} {len(some):4d}  {quantiles(delay)} s  {quantiles(turns)} rev"
            f"  {quantiles(floors)} of the least possible"
        )
    for spacing in ("teeth", "rotation"):
        near = sum(scoring.near_family(case, spacing) for case in hits)
        chance = np.mean([scoring.near_by_chance(case, spacing) for case in hits] or [np.nan])
        print(
            f"  frequency of the true family (0.5 % or 3 Hz), spaced by {spacing:8s}  "
            f"{percent(near, len(hits))}, {100 * chance:.0f} % by chance"
        )
    ended = sum(scoring.near_family(case, said="ended_hz") for case in hits)
    print(f"  when the chatter has ended, spaced by the teeth  {percent(ended, len(hits))}")
    traced = [case for case in hits if case.case.get("lines")]
    then = sum(scoring.near_then(case) for case in traced)
    print(f"  of the family as it rang just before the alarm   {percent(then, len(traced))}")


def quantiles(values):
    """Median and 90 % quantile."""
    return f"{np.median(values):6.2f} / {np.quantile(values, 0.9):6.2f}"


def cut_times(cases):
    """Print how well the time in the cut is told."""
    cut = [c for c in cases if c.truth["engaged"] and c.case["snr_db"] >= AUDIBLE_DB]
    bare = [c for c in cases if not c.truth["engaged"]]
    print("\ncut time from 10 dB: error, median / 90 %")
    for label, some in (("all", cut), ("one engagement", [c for c in cut if len(c.truth["engaged"]) == 1])):
        if some:
            true = np.array([scoring.length_s(c.truth["engaged"]) for c in some])
            error = np.abs(np.array([scoring.length_s(c.answer["engaged"]) for c in some]) / true - 1)
            print(
                f"  {label:20s} {len(some):4d}  {quantiles(100 * error)} %"
                f"   within 2 %: {percent(int(np.sum(error <= 0.02)), len(some))}"
            )
    called = [scoring.length_s(c.answer["engaged"]) for c in bare]
    total = sum(c.truth["recording"]["duration_s"] for c in bare)
    some = sum(time > 0 for time in called)
    print(
        f"  no cut: a cut is called in {some} of {len(bare)}, "
        f"{100 * sum(called) / max(total, 1):.1f} % of the time"
    )


def speeds(cases):
    """Print how well the speed is told, and whether one is made up."""
    print("\nspeed in the cut: share of frames within 0.1 %, within 0.5 %, given at all")
    for low, high in SNR_BANDS:
        some = [
            c.answer["speed"] for c in cases if low <= c.case["snr_db"] < high and c.answer["speed"]["frames"]
        ]
        if some:
            keys = ("within_0.1%", "within_0.5%", "given")
            shares = "  ".join(f"{100 * np.mean([s[key] for s in some]):5.1f} %" for key in keys)
            print(f"  {low:3d} to {high:3d} dB  {len(some):4d}  {shares}")
    bare = [c for c in cases if c.case["kind"] == "noise"]
    for label, some in (
        ("spindle at rest", bare),
        ("  and nothing else turning", [c for c in bare if not OTHER_ROTATION & set(c.case["tags"])]),
    ):
        if some:
            given = np.mean([c.answer["speed"]["given_outside"] for c in some])
            print(f"  {label:28s} {len(some):4d}  a speed is given in {100 * given:.1f} % of the frames")


def doubling(cases):
    """Print what is said where chatter lies on the comb."""
    told = sum(case.outcome == "hit" for case in cases)
    unclear = sum(any(a["kind"] == "unclassified" for a in c.answer["alarms"]) for c in cases)
    noticed = sum(bool(case.answer["notices"]) for case in cases)
    print(
        f"\non the comb (period doubling of even flutes and the like): {told} of {len(cases)} called,",
        end=" ",
    )
    print(f"{unclear} as unclassified, a notice in {noticed}")


def worst(cases):
    """List the cases that went wrong though they should have been easy; also returns them."""
    bad = [case for case in cases if case.outcome not in ("hit", "quiet")]
    bad.sort(key=lambda case: -ease(case))
    print(f"\nworst {min(WORST, len(bad))} of {len(bad)} that went wrong (look N shows what was heard)")
    for case in bad[:WORST]:
        print("  " + described(case))
    return bad[:WORST]


def ease(case):
    """How little excuse there is, dB."""
    return case.case["snr_db"] + (min(case.case["chatter_over_comb_db"], 20) if case.chatters else 0)


def described(case):
    """One line about a case that went wrong."""
    spindle = case.truth["spindle"]
    text = f"{case.answer['number']:6d} {case.outcome:6s} {case.case['snr_db']:5.1f} dB "
    text += case.case["sensor"][:5]
    text += f" {spindle['true_rpm']:6.0f} rpm x{spindle['flutes']} told {case.case['told_rpm']}"
    if case.chatters:
        event = case.truth["chatter"][0]
        text += f" rings from {event['start_s']:.2f} s at {event['frequency_hz']:.0f} Hz"
        text += f", {case.case['chatter_over_comb_db']:.0f} dB over"
    if case.alarm_s is not None:
        first = min(case.answer["alarms"], key=lambda alarm: alarm["at_s"])
        order = first["frequency_hz"] / scoring.rotation_hz(case.truth, case.alarm_s)
        text += f" | alarm {case.alarm_s:.2f} s at {first['frequency_hz']:.0f} Hz (order {order:.2f})"
    return text + " | " + ", ".join(case.case["tags"])
