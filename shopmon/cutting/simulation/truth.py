"""What is true of a simulated pass, as plain data beside the sound: schema ``shopmon.truth/1``."""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from shopmon.cutting.simulation.motion import strongest_line_hz
from shopmon.cutting.simulation.plan import Engagement, PassPlan
from shopmon.cutting.simulation.speed_track import SpeedTrack
from shopmon.cutting.simulation.time_domain import Motion
from shopmon.cutting.stability.semidiscretization import Stability, StabilityCase, stability

SCHEMA = "shopmon.truth/1"
NOTE = "Invented data: a simulated cut in an invented workshop. No machine, tool or person is real."
TRACK_STEP_S = 0.25
LINES = 4


@dataclass(frozen=True, eq=False)
class CutTruth:
    """What the simulation showed of one engagement.

    Attributes
    ----------
    engagement
        As planned.
    engaged_s
        First and last contact of a tooth with metal, s.
    chatter_s
        Intervals of non-periodic motion above a fifth of the periodic one, s.
    judged
        The motion this was measured on.
    periods_per_turn
        1 where turns were compared, the number of flutes where teeth were (a pass without runout).
    """

    engagement: Engagement
    engaged_s: tuple[float, float]
    chatter_s: list[list[float]]
    judged: Motion
    periods_per_turn: int


def stability_case(plan: PassPlan) -> StabilityCase:
    """The plan as the linear theory sees it."""
    mill, material = plan.assembly.mill, plan.material
    return StabilityCase(
        modes=plan.modes,
        flutes=plan.flutes,
        diameter_mm=mill.DC,
        kt_n_per_mm2=material.ktc_n_per_mm2,
        kr=(material.krc_n_per_mm2 or 0.0) / material.ktc_n_per_mm2,
        milling=plan.milling,
        ae_mm=plan.ae_mm,
        helix_deg=mill.FHA or 0.0,
        pitch_deg=mill.pitch_deg,
    )


def full_depth_stability(plan: PassPlan, engagement: Engagement) -> Stability:
    """Verdict of semi-discretization at the engagement's largest depth and the loaded spindle's speed.

    Where the override is turned, the least stable of the speeds decides.
    """
    rpm, case = plan.spindle.true_rpm * (1 - plan.spindle.droop), stability_case(plan)
    speeds = dict.fromkeys(rpm * override for override in plan.spindle.overrides)
    found = [stability(case, speed, engagement.ap_max_mm) for speed in speeds]
    return max(found, key=lambda verdict: verdict.spectral_radius)


def truth_of(
    plan: PassPlan,
    seed: int,
    track: SpeedTrack,
    offsets_um: tuple[float, ...],
    cuts: list[CutTruth],
    gain: float,
) -> dict[str, Any]:
    """Gather the truth of a rendered pass.

    Parameters
    ----------
    plan, seed
        What was asked.
    track
        How the spindle turned.
    offsets_um
        Radial places of the teeth.
    cuts
        What each engagement showed.
    gain
        Factor from units of the quiet cut to full scale.
    """
    entries = [_engagement(plan, track, cut) for cut in cuts]
    chatter = [event for entry in entries for event in entry["chatter"]]
    return {
        "schema": SCHEMA,
        "note": NOTE,
        "seed": int(seed),
        "plan": _plain(plan),
        "recording": {
            "duration_s": plan.duration_s,
            "sample_rate_hz": plan.sample_rate_hz,
            "channels": 1,
            "quiet_cut_dbfs": round(20 * float(np.log10(max(gain, 1e-12))), 2),
        },
        "spindle": {
            "nominal_rpm": plan.spindle.nominal_rpm,
            "true_rpm": round(plan.spindle.true_rpm, 3),
            "flutes": plan.flutes,
            "track": _track(plan, track),
        },
        "tooth_offsets_um": list(offsets_um),
        "engaged": [entry["engaged"] for entry in entries],
        "engagements": entries,
        "chatters": bool(chatter),
        "chatter": chatter,
        "natural_frequencies_hz": sorted({mode.frequency_hz for mode in plan.modes}),
    }


def _plain(plan: PassPlan) -> dict[str, Any]:
    """The plan as JSON knows it: tuples become lists."""
    return _listed(asdict(plan))


def _listed(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _listed(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [_listed(item) for item in value]
    return value


def _track(plan: PassPlan, track: SpeedTrack) -> list[list[float]]:
    times = np.arange(0, plan.duration_s, TRACK_STEP_S)
    return [
        [round(float(t), 3), round(float(rpm), 2)] for t, rpm in zip(times, track.rpm_at(times), strict=True)
    ]


def _engagement(plan: PassPlan, track: SpeedTrack, cut: CutTruth) -> dict[str, Any]:
    verdict = full_depth_stability(plan, cut.engagement)
    middle = float(np.mean(cut.engaged_s))
    return {
        "engaged": [round(time, 4) for time in cut.engaged_s],
        "ap_max_mm": cut.engagement.ap_max_mm,
        "rpm": round(float(track.rpm_at(middle)), 2),
        "stability": {
            "method": "first-order semi-discretization at full depth, linear, without runout",
            "spectral_radius": round(verdict.spectral_radius, 5),
            "verdict": "chatter" if verdict.chatters else "quiet",
            "kind": verdict.kind,
            "chatter_hz": None if verdict.chatter_hz is None else round(verdict.chatter_hz, 2),
        },
        "measured_on": "turns of this pass"
        if cut.periods_per_turn == 1
        else "teeth of a twin pass without runout",
        "chatter": [_chatter(plan, track, cut, interval) for interval in cut.chatter_s],
    }


def _chatter(plan: PassPlan, track: SpeedTrack, cut: CutTruth, interval: list[float]) -> dict:
    frequency, axis = strongest_line_hz(cut.judged, interval, cut.periods_per_turn)
    rotation = float(track.rpm_at(np.mean(interval))) / 60
    spacing = rotation * (plan.flutes if plan.assembly.mill.pitch_deg is None else 1)
    halves = frequency / spacing % 1.0
    doubled = abs(halves - 0.5) * spacing < 1.0 + 0.003 * spacing
    return {
        "start_s": round(interval[0], 4),
        "end_s": round(interval[1], 4),
        "frequency_hz": round(frequency, 2),
        "axis": axis,
        "kind": "period-doubling" if doubled else "quasi-periodic",
        "family": {"spacing_hz": round(spacing, 3), "lines_hz": _family(frequency, spacing)},
    }


def _family(frequency: float, spacing: float) -> list[float]:
    """Lines |f + k · spacing| around the strongest one, ascending."""
    lines = {round(abs(frequency + k * spacing), 2) for k in range(-LINES, LINES + 1)}
    return sorted(lines)
