"""Two cuts beside each other: laid over one another by when the teeth were in metal, and what differs.

Levels of rotation lines come from what each cut's analysis says of its steady sound, at one spindle speed;
tones are compared in multiples of the rotation where both speeds are known, else in hertz.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from shopmon.service.programs.runs import ByProgram

STEP_S = 0.05
MOST_S = 3600.0
SAME_SPEED = 0.02  # beyond that a tool sounds otherwise without having changed
SAME_TONE = 0.02
AUDIBLE_STEP_DB = 3.0  # less is scatter between two passes (our own judgement)


@dataclass(frozen=True)
class OrderStep:
    """How the level of one rotation line differs: the second cut over the first, in dB."""

    order: int
    first_db: float
    second_db: float
    tooth_passing: bool

    @property
    def step_db(self) -> float:
        """Second over first."""
        return self.second_db - self.first_db


@dataclass(frozen=True)
class SideBySide:
    """What two cuts have in common and what not.

    Attributes
    ----------
    shift_s
        To be added to times of the second cut so that the engagements lie over one another.
    overlap
        From 0 to 1: time in metal that both share, over the time in metal of either.
    speeds_rpm
        Steady speeds that are compared; None where no two are alike.
    orders
        Steps of rotation lines, the largest first; empty where they cannot be compared.
    why_no_orders
        Why not.
    appeared, vanished
        Tones of the second cut that the first has not, and the other way round.
    by_program
        How they lie by the steps of their program; None where they are not of one program.
    """

    shift_s: float
    overlap: float
    speeds_rpm: tuple[float, float] | None
    orders: tuple[OrderStep, ...]
    why_no_orders: str
    appeared: tuple[dict[str, Any], ...]
    vanished: tuple[dict[str, Any], ...]
    by_program: ByProgram | None = None


def side_by_side(
    first: dict[str, Any], second: dict[str, Any], by_program: ByProgram | None = None
) -> SideBySide:
    """Compare two cuts.

    Parameters
    ----------
    first, second
        As the log has them, each with its ``analysis``.
    by_program
        As `shopmon.service.programs.runs.by_program` has it.
    """
    shift_s, overlap = laid_over(first["engaged"], second["engaged"])
    speeds, orders, why = _orders(first, second)
    tones = [_tones(cut) for cut in (first, second)]
    return SideBySide(
        shift_s=shift_s,
        overlap=overlap,
        speeds_rpm=speeds,
        orders=orders,
        why_no_orders=why,
        appeared=_only_in(tones[1], tones[0]),
        vanished=_only_in(tones[0], tones[1]),
        by_program=by_program,
    )


def laid_over(first: list, second: list) -> tuple[float, float]:
    """Return by how much to shift the second engagements, and what share of the time in metal is then common.

    Parameters
    ----------
    first, second
        Engagements ``[[start_s, end_s], …]``.

    Examples
    --------
    >>> laid_over([[1.0, 3.0], [5.0, 6.0]], [[11.0, 13.0], [15.0, 16.0]])
    (-10.0, 1.0)
    """
    if not first or not second:
        return 0.0, 0.0
    begins = first[0][0], second[0][0]
    masks = [_mask(spans, begin) for spans, begin in zip((first, second), begins, strict=True)]
    size = 1 << int(np.ceil(np.log2(sum(mask.size for mask in masks))))
    spectra = [np.fft.rfft(mask, size) for mask in masks]
    common = np.fft.irfft(spectra[0] * np.conj(spectra[1]), size)
    lags = np.arange(size)
    lags[lags >= masks[0].size] -= size
    # of shifts that are as good, the one that lays first contact over first contact
    best = np.lexsort((np.abs(lags), -np.round(common)))[0]
    both = common[best]
    either = masks[0].sum() + masks[1].sum() - both
    shift_s = begins[0] - begins[1] + lags[best] * STEP_S
    return round(float(shift_s), 3), round(float(np.clip(both / either, 0, 1)), 3) if either > 0 else 0.0


def _mask(spans: list, begin_s: float) -> np.ndarray:
    length_s = min(spans[-1][1] - begin_s, MOST_S)
    mask = np.zeros(max(1, int(np.ceil(length_s / STEP_S))))
    for start_s, end_s in spans:
        mask[round((start_s - begin_s) / STEP_S) : max(round((end_s - begin_s) / STEP_S), 1)] = 1.0
    return mask


def _steady(cut: dict[str, Any]) -> list[dict[str, Any]]:
    return [one for one in (cut.get("analysis") or {}).get("steady") or () if one.get("rpm")]


def _orders(first: dict, second: dict) -> tuple[tuple[float, float] | None, tuple[OrderStep, ...], str]:
    here, there = _steady(first), _steady(second)
    if not here or not there:
        which = "the first" if not here else "the second"
        return None, (), f"In {which} cut no stretch was steady and quiet for long enough."
    pairs = [(one, other) for one in here for other in there if _alike(one["rpm"], other["rpm"], SAME_SPEED)]
    if not pairs:
        return None, (), "The two were cut at different speeds: a tool sounds otherwise then."
    one, other = max(pairs, key=lambda pair: min(pair[0]["duration_s"], pair[1]["duration_s"]))
    flutes = [(cut["context"].get("flutes")) for cut in (first, second)]
    if flutes[0] != flutes[1]:
        return None, (), "The two were cut with different numbers of flutes."
    levels = zip(one["lines_db"], other["lines_db"], strict=False)
    steps = [
        OrderStep(order, low, high, bool(flutes[0]) and order % flutes[0] == 0)
        for order, (low, high) in enumerate(levels, 1)
        if low is not None and high is not None
    ]
    ordered = tuple(sorted(steps, key=lambda step: -abs(step.step_db)))
    return (one["rpm"], other["rpm"]), ordered, ""


def _tones(cut: dict[str, Any]) -> list[dict[str, Any]]:
    """Chatter and stray tones of a cut, the loudest of each, with its multiple of the rotation."""
    analysis = cut.get("analysis") or {}
    rpm = (analysis.get("spindle") or {}).get("rpm")
    found: list[dict[str, Any]] = []
    heard = [*({**span, "chatter": True} for span in cut["chatter"]), *(analysis.get("stray") or ())]
    for tone in sorted(heard, key=lambda tone: -(tone.get("level_db") or -999)):
        hz = tone.get("frequency_hz")
        if hz and not any(_alike(hz, known["frequency_hz"], SAME_TONE) for known in found):
            found.append({
                "frequency_hz": hz, "level_db": tone.get("level_db"), "chatter": bool(tone.get("chatter")),
                "order": hz * 60 / rpm if rpm else None,
            })  # fmt: skip
    return found


def _only_in(these: list[dict[str, Any]], those: list[dict[str, Any]]) -> tuple[dict[str, Any], ...]:
    return tuple(tone for tone in these if not any(_same_tone(tone, other) for other in those))


def _same_tone(one: dict[str, Any], other: dict[str, Any]) -> bool:
    if _alike(one["frequency_hz"], other["frequency_hz"], SAME_TONE):
        return True
    return bool(one["order"] and other["order"] and _alike(one["order"], other["order"], SAME_TONE))


def _alike(one: float, other: float, share: float) -> bool:
    return abs(one / other - 1) <= share
