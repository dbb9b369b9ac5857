"""The tap test: from a recording of hits, or a response measured elsewhere, to the modes of the tool tip."""

from dataclasses import asdict, dataclass, replace

import numpy as np

from shopmon.cutting.nouns import Mode
from shopmon.errors import RecordingError, SettingError
from shopmon.signals.tap.decay_poles import DecayPole, decay_poles, lasting
from shopmon.signals.tap.frequency_response import (
    MeasuredResponse,
    exponential_window,
    force_window,
    measured_response,
)
from shopmon.signals.tap.hits import Hit, find_hits
from shopmon.signals.tap.modal_fit import NARROW_BINS, FittedMode, ModalFit, fit_modes

SCHEMA = "shopmon.tap/1"
CAUTIONS = (
    "Spindle stopped and disabled, emergency stop pressed, before you reach in.",
    "Eye protection: carbide splinters. A soft tip, light hits, off the cutting edges, no harder than the "
    "spindle's maker allows.",
    "Modes and stiffness are advice; the machine builder's manual and qualified people come first.",
)
END_LEVEL = 0.05  # a record that has not died away to this gets an exponential window
FEWEST_HITS = 3
LEAST_COHERENCE = 0.8
ODD_PHASE_DEG, MOST_PHASE_DEG, AGAINST_DEG = 30.0, 60.0, 150.0
SOFTEST_N_PER_M = (5e4, 2e9)  # of the softest mode of a tip: own judgement, wide; beyond, a unit is wrong
LEAST_EXPLAINED = 0.8
FLAT_SURE, FLAT_ALIKE = 5, 2
SAME_TONE, LEAST_SHARED = 0.012, 0.34
LATER_S = 0.004  # a decay begun this much later must show the same tones


@dataclass(frozen=True)
class TapSettings:
    """How a recording of hits is to be read.

    Attributes
    ----------
    lowest_hz, highest_hz
        Band in which modes are looked for.
    record_s
        Length of one hit's record.
    axis
        In which the tool was hit: x along the feed, y across it.
    estimator
        H1 or H2.
    force_limit, response_limit
        From which magnitude the sensors are overloaded, in the samples' units.
    """

    lowest_hz: float = 300.0
    highest_hz: float = 5000.0
    record_s: float = 0.5
    axis: str = "x"
    estimator: str = "H1"
    force_limit: float | None = None
    response_limit: float | None = None

    def __post_init__(self):
        if not 0 < self.lowest_hz < self.highest_hz:
            raise SettingError("The band must rise from above 0 Hz.", "Check --from and --to.")
        if not 0.01 <= self.record_s <= 30:
            raise SettingError(
                f"A hit's record is 0.01 to 30 s long, not {self.record_s:g}.", "Check --record."
            )
        if self.axis not in ("x", "y"):
            raise SettingError(f"There is no axis {self.axis!r}.", "Give x along the feed, or y across it.")


def with_force(
    force_n, response_m_s2, sample_rate_hz: float, settings: TapSettings
) -> tuple[dict, MeasuredResponse]:
    """Judge a recording of a hammer with a force sensor; return ``shopmon.tap/1`` and the response.

    Raises
    ------
    RecordingError
        No clean hit, or no mode, is in the recording.
    """
    _check(force_n, response_m_s2, sample_rate_hz, settings)
    if np.array_equal(force_n, response_m_s2):
        raise SettingError(
            "Force and response are the same signal.",
            "Name the hammer with --force, the sensor with --response.",
        )
    hits = find_hits(force_n, sample_rate_hz, settings.record_s, full_scale=settings.force_limit)
    return from_forced_hits(force_n, response_m_s2, sample_rate_hz, settings, hits)


def from_forced_hits(
    force_n, response_m_s2, sample_rate_hz: float, settings: TapSettings, hits: list[Hit]
) -> tuple[dict, MeasuredResponse]:
    """Judge hits that were found already; as `with_force`."""
    hits = [_with_overload(hit, response_m_s2, settings.response_limit) for hit in hits]
    hits = _with_flat_tops(hits, force_n, response_m_s2)
    good = [hit for hit in hits if hit.fault is None]
    if not good:
        seen = [hit.fault for hit in hits]
        raise RecordingError(
            f"None of the {len(hits)} hits is clean: "
            f"{'; '.join(FAULTS[fault][1] for fault in sorted({hit.fault for hit in hits}))}.",
            f"{FAULTS[max(set(seen), key=seen.count)][2]} Check that --force names the hammer, not the "
            "accelerometer.",
        )
    length = min(hit.end - hit.begin for hit in good)
    forces = np.array(
        [
            force_n[hit.begin : hit.begin + length] * force_window(force_n[:length], 0, hit.over - hit.begin)
            for hit in good
        ]
    )
    responses = np.array([response_m_s2[hit.begin : hit.begin + length] for hit in good])
    added = 0.0
    if _still_rings(responses):
        window, added = exponential_window(length, sample_rate_hz, END_LEVEL)
        forces, responses = forces * window, responses * window
    measured = measured_response(
        forces, responses, sample_rate_hz, estimator=settings.estimator, added_damping_rate=added
    )
    result = from_response(measured, settings)
    result["hits"] = [_hit_as_data(hit, sample_rate_hz) for hit in hits]
    result["notices"] = _hit_notices(hits, good, added) + result["notices"]
    return result, measured


def from_response(measured: MeasuredResponse, settings: TapSettings) -> dict:
    """Fit the modes of a measured response; return ``shopmon.tap/1``."""
    fit = fit_modes(measured, settings.lowest_hz, min(settings.highest_hz, float(measured.frequency_hz[-1])))
    return {
        "schema": SCHEMA,
        "with_force": True,
        "axis": settings.axis,
        "estimator": settings.estimator,
        "hits": [],
        "modes": [_mode_as_data(settings.axis, mode) for mode in fit.modes],
        "explained": fit.explained,
        "notices": _fit_notices(fit, measured),
        "cautions": list(CAUTIONS),
    }


def without_force(response, sample_rate_hz: float, settings: TapSettings) -> dict:
    """Judge a recording of plain hits: frequencies and damping from the ringing, no stiffness.

    Raises
    ------
    RecordingError
        No hit, or nothing that rings, is in the recording.
    """
    _check(response, response, sample_rate_hz, settings)
    hits = find_hits(
        response, sample_rate_hz, settings.record_s, full_scale=settings.response_limit, with_force=False
    )
    return from_heard_hits(response, sample_rate_hz, settings, hits)


def from_heard_hits(
    response,
    sample_rate_hz: float,
    settings: TapSettings,
    hits: list[Hit],
    rung: list[list[DecayPole]] | None = None,
) -> dict:
    """Judge hits without a force that were found already, good ones if `rung` tells their tones."""
    if rung is None:
        found = [rung_at(response, hit, sample_rate_hz, settings) for hit in hits]
        hits, rung = [hit for hit, _ in found], [poles for hit, poles in found if hit.fault is None]
    hits, rung = without_strangers(hits, rung)
    good = [hit for hit in hits if hit.fault is None]
    tones = _agreed(rung)
    if not tones:
        reasons = "; ".join(FAULTS[fault][1] for fault in sorted({hit.fault for hit in hits if hit.fault}))
        raise RecordingError(
            f"Nothing here rings as after a hit{f': {reasons}' if reasons else ''}.",
            "Put the sensor on the tool or the holder's end, and hit a little harder, in a quiet shop.",
        )
    notices = _hit_notices(hits, good, 0.0)
    notices.append(
        _notice(
            "no-stiffness",
            "Without the force there is no stiffness: these modes cannot tell a depth of cut.",
            "They tell which speeds to try; kept on the page Tap test, the cuts of this tool add the depth.",
        )
    )
    return {
        "schema": SCHEMA,
        "with_force": False,
        "axis": settings.axis,
        "estimator": None,
        "hits": [_hit_as_data(hit, sample_rate_hz) for hit in hits],
        "modes": tones,
        "explained": None,
        "notices": notices,
        "cautions": list(CAUTIONS),
    }


def mode_text(result: dict) -> str:
    """Return the modes of a result with force as the page *Speeds* and the command line take them."""
    return " ".join(mode["option"] for mode in result["modes"] if mode.get("option"))


def modes_of(result: dict) -> tuple[Mode, ...]:
    """Return the modes of a result with force, for the stability prediction."""
    return tuple(
        Mode(
            axis=result["axis"],
            frequency_hz=mode["frequency_hz"],
            damping_ratio=mode["damping_ratio"],
            stiffness_n_per_m=mode["stiffness_n_per_m"],
        )
        for mode in result["modes"]
        if mode["option"]
    )


def _check(trigger, response, sample_rate_hz: float, settings: TapSettings) -> None:
    if trigger.shape != response.shape:
        raise SettingError("Force and response are not equally long.", "Record both at once, at one rate.")
    if not (np.all(np.isfinite(trigger)) and np.all(np.isfinite(response))):
        raise RecordingError("The recording holds values that are no numbers.", "Record it again.")
    if settings.lowest_hz >= 0.45 * sample_rate_hz:
        raise SettingError(
            f"The recording ends at {0.45 * sample_rate_hz:.0f} Hz, below the band.", "Take a faster sensor."
        )


def _with_overload(hit: Hit, response, limit: float | None) -> Hit:
    if limit is None or hit.fault or np.abs(response[hit.begin : hit.end]).max() < limit:
        return hit
    return replace(hit, fault="overload")


def _with_flat_tops(hits: list[Hit], *signals) -> list[Hit]:
    """Give hits that fault whose peak is flat in a signal: it was clipped below the limit that is known."""
    flat = set()
    for signal in signals:
        tops = [_top(signal[hit.begin : hit.end]) for hit in hits]
        for number, (level, length) in enumerate(tops):
            # a plateau of three samples may be a coarse converter's; two hits of one height are not
            alike = sum(abs(other - level) < 1e-6 * level for other, _ in tops) > 1
            if length >= FLAT_SURE or (length >= FLAT_ALIKE and alike):
                flat.add(number)
    return [
        replace(hit, fault="overload") if number in flat and hit.fault is None else hit
        for number, hit in enumerate(hits)
    ]


def _top(record) -> tuple[float, int]:
    """Return the largest magnitude of a record, and how many samples in a row have it."""
    size = np.abs(record)
    if size.size == 0 or size.max() == 0:
        return 0.0, 0
    at = int(np.argmax(size))
    other = np.flatnonzero(size[at:] < size[at] * (1 - 1e-6))
    return float(size[at]), int(other[0]) if other.size else size.size - at


def _still_rings(responses: np.ndarray) -> bool:
    size = np.abs(responses)
    tail = size[:, -max(1, size.shape[1] // 20) :]
    return bool(np.median(tail.max(axis=1) / np.maximum(size.max(axis=1), 1e-300)) > END_LEVEL)


def rung_at(response, hit: Hit, sample_rate_hz: float, settings: TapSettings) -> tuple[Hit, list[DecayPole]]:
    """Return a hit and the tones it rings with; where none lasts, the hit has that fault."""
    if hit.fault is not None:
        return hit, []
    highest_hz = min(settings.highest_hz, 0.45 * sample_rate_hz)
    later = hit.over + int(LATER_S * sample_rate_hz)
    poles, again = (
        decay_poles(response[begin : hit.end], sample_rate_hz, settings.lowest_hz, highest_hz)
        for begin in (hit.over, later)
    )
    return (hit if lasting(poles, again) else replace(hit, fault="no-ring")), poles


def without_strangers(
    hits: list[Hit], rung: list[list[DecayPole]]
) -> tuple[list[Hit], list[list[DecayPole]]]:
    """Give the good hits that rang with other tones than most of them that fault; a tool that fell rings too.

    Parameters
    ----------
    hits
        All of them.
    rung
        The tones of the good ones, in order.

    Returns
    -------
    tuple
        Hits, and the tones of those that are still good.
    """
    if len(rung) < FEWEST_HITS:
        return hits, rung
    odd = [rings_otherwise(poles, rung) for poles in rung]
    of_good = iter(odd)
    judged = [
        replace(hit, fault="other-ring") if hit.fault is None and next(of_good) else hit for hit in hits
    ]
    return judged, [poles for poles, stranger in zip(rung, odd, strict=True) if not stranger]


def rings_otherwise(poles: list[DecayPole], rung: list[list[DecayPole]]) -> bool:
    """Tell whether a hit shows hardly any of the tones that at least half of the hits show."""
    tones = _agreed(rung)
    shown = sum(
        any(abs(pole.frequency_hz / tone["frequency_hz"] - 1) < SAME_TONE for pole in poles) for tone in tones
    )
    return bool(tones) and shown < LEAST_SHARED * len(tones)


def _agreed(rung: list) -> list[dict]:
    """Return the tones that at least half of the hits show, with the spread from hit to hit."""
    tones = sorted((pole for poles in rung for pole in poles), key=lambda pole: pole.frequency_hz)
    groups: list[list] = []
    for pole in tones:
        reach = (0.004 + 0.5 * pole.damping_ratio) * pole.frequency_hz
        if groups and pole.frequency_hz - groups[-1][-1].frequency_hz < reach:
            groups[-1].append(pole)
        else:
            groups.append([pole])
    needed = max(1, (len(rung) + 1) // 2)
    return [_tone(group) for group in groups if len(group) >= needed]


def _tone(group: list) -> dict:
    hz, damping = np.array([[p.frequency_hz, p.damping_ratio] for p in group]).T
    several = len(group) > 2
    return {
        "frequency_hz": float(np.median(hz)),
        "damping_ratio": float(np.median(damping)),
        "frequency_error_hz": float(hz.std(ddof=1) if several else max(p.spread_hz for p in group)),
        "damping_error": float(damping.std(ddof=1) if several else max(p.spread_damping for p in group)),
        "stiffness_n_per_m": None,
        "over_noise_db": float(np.median([p.over_noise_db for p in group])),
    }


def _mode_as_data(axis: str, mode: FittedMode) -> dict:
    """Return a mode as data, with its option of ``shopmon speeds`` where the tip itself shows it."""
    option = f"{axis}:{mode.frequency_hz:.1f}:{mode.damping_ratio:.4g}:{mode.stiffness_n_per_m:.4g}"
    return {**asdict(mode), "option": option if _usable(mode) else None}


def _usable(mode: FittedMode) -> bool:
    return abs(mode.phase_deg) <= MOST_PHASE_DEG and mode.damping_ratio > 0


def _hit_as_data(hit: Hit, sample_rate_hz: float) -> dict:
    return {"at_s": hit.begin / sample_rate_hz, "peak": hit.peak, "fault": hit.fault}


FAULTS = {
    "double": ("double-hit", "the hammer touched twice", "Hit once and draw back at once."),
    "overload": ("overload", "a sensor was overloaded", "Hit more lightly, or lower the gain."),
    "no-hit": (
        "no-hit",
        "it did not begin, or die away, like a hit",
        "Hit in a quiet shop, and speak later.",
    ),
    "no-ring": ("no-ring", "nothing rang on after it", "Hit a little harder, or move the sensor nearer."),
    "other-ring": (
        "other-ring",
        "it rang with other tones than the others",
        "Did something fall, or was the sensor moved? Hit the same spot each time.",
    ),
    "cut-off": ("cut-off", "its record is cut short", "Wait between hits until the ringing has died away."),
}


def _hit_notices(hits: list[Hit], good: list[Hit], added: float) -> list[dict]:
    notices = []
    for fault, (code, text, hint) in FAULTS.items():
        count = sum(hit.fault == fault for hit in hits)
        if count:
            notices.append(_notice(code, f"{count} of {len(hits)} hits left out: {text}.", hint))
    if len(good) < FEWEST_HITS:
        notices.append(
            _notice("few-hits", f"Clean hits: {len(good)}. Noise was hardly averaged.", "Take five.")
        )
    if added:
        notices.append(
            _notice(
                "still-ringing",
                "It still rang when the records ended: the damping that a window added was taken off again.",
                "A longer --record needs no window.",
            )
        )
    return notices


def _fit_notices(fit: ModalFit, measured: MeasuredResponse) -> list[dict]:
    notices = []
    if fit.explained < LEAST_EXPLAINED:
        notices.append(
            _notice(
                "poor-fit",
                f"The modes explain only {100 * fit.explained:.0f} % of what was measured.",
                "Narrow the band with --from and --to to the tool's modes, and hit the same spot each time.",
            )
        )
    narrow = [f"{mode.frequency_hz:.0f}" for mode in fit.modes if mode.bins_in_width < NARROW_BINS]
    if narrow:
        notices.append(
            _notice(
                "grid-too-coarse",
                f"At {', '.join(narrow)} Hz the peak is only a few lines of the spectrum wide: its damping "
                "is taken from the decay, its stiffness is less sure.",
                "Take a longer --record, or a higher --from if it is not the tool's.",
            )
        )
    against = bool(fit.modes) and all(abs(mode.phase_deg) > AGAINST_DEG for mode in fit.modes)
    if against:
        notices.append(
            _notice(
                "opposite-polarity",
                "Every mode answers against the force: sensor and hammer count in opposite directions.",
                "Turn the sensor about or hit from the other side; if both were right, one is wired with the "
                "wrong polarity.",
            )
        )
    softest = min((mode.stiffness_n_per_m for mode in fit.modes), default=None)
    if softest is not None and not SOFTEST_N_PER_M[0] <= softest <= SOFTEST_N_PER_M[1]:
        notices.append(
            _notice(
                "odd-stiffness",
                f"The softest mode has {softest:.2g} N/m: no tool tip is like that.",
                "Check the units and full scales of force and response.",
            )
        )
    for mode in fit.modes:
        at = f"The mode at {mode.frequency_hz:.0f} Hz"
        if abs(mode.phase_deg) > ODD_PHASE_DEG and not against:
            notices.append(
                _notice("odd-phase", f"{at} does not answer in step with the force ({mode.phase_deg:+.0f}°).",
                        "Hit where the sensor is, on the other side, in one line with it.")
            )  # fmt: skip
        if mode.damping_ratio <= 0:
            notices.append(
                _notice(
                    "no-damping", f"{at} shows no damping of its own.", "Take a longer --record, no window."
                )
            )
        coherence = _coherence_at(measured, mode.frequency_hz)
        if coherence is not None and coherence < LEAST_COHERENCE:
            notices.append(
                _notice("low-coherence", f"{at}: the hits disagree (coherence {coherence:.2f}).",
                        "Hit the same spot in the same direction each time.")
            )  # fmt: skip
    return notices


def _coherence_at(measured: MeasuredResponse, hz: float) -> float | None:
    if measured.coherence is None:
        return None
    return float(measured.coherence[int(np.argmin(np.abs(measured.frequency_hz - hz)))])


def _notice(code: str, text: str, hint: str) -> dict:
    return {"code": code, "text": text, "hint": hint}
