"""What the newest hop amounts to: the state, how sure it is, and what a display needs."""

from typing import TYPE_CHECKING

import numpy as np

from shopmon.listening.events import Frame, State, StrayTone
from shopmon.listening.intake.front import View
from shopmon.listening.rotation.comb_view import CombView
from shopmon.signals.levels import power_db

if TYPE_CHECKING:
    from shopmon.listening.chain import Chain

SPECTRUM_BINS = 1024
UNSURE_SHARE = 0.5
DOUBTFUL_SPEED = 0.6


def frame_of(chain: "Chain", view: View, comb: CombView | None, stray: tuple[StrayTone, ...]) -> Frame:
    """Make the frame of a hop.

    Parameters
    ----------
    chain
        The stages after the hop.
    view
        The hop.
    comb
        The spindle's comb in it; None where the speed is not heard.
    stray
        Lines off the comb that are shown.
    """
    speed, known = chain.speed, comb is not None
    group = -(-view.spectrum_db.size // SPECTRUM_BINS)
    whole = view.spectrum_db[: view.spectrum_db.size // group * group]
    shown = whole[::group]
    for start in range(1, group):
        shown = np.maximum(shown, whole[start::group])
    stray_power = sum(10 ** (tone.level_db / 10) for tone in stray)
    return Frame(
        sample=view.sample,
        state=state_of(chain),
        unsure=bool(is_unsure(chain)),
        rpm=60 * speed.rotation_hz if known else None,
        rpm_confidence=speed.confidence if known else 0.0,
        level_db=float(power_db(view.power)),
        peak_db=float(power_db(view.peak**2)),
        comb_db=comb.power_db if known else None,
        stray_db=float(power_db(stray_power)) if stray else None,
        engaged=chain.book.touching,
        stray=stray,
        cut=chain.book.span(view.sample),
        chatter=chain.judge.open,
        spectrum_db=shown,
        spectrum_step_hz=group * chain.front.window.bin_hz,
        lines_db=comb.told_db if known and in_quiet_metal(chain, view) else None,
    )


def state_of(chain: "Chain") -> State:
    """Name what is going on."""
    if chain.health.silent:
        return State.NO_INPUT
    if chain.judge.span is not None:
        return State.CHATTER
    if chain.book.touching:
        return State.CUTTING
    if not chain.turns:
        return State.STOPPED
    return State.AIR_CUT if chain.book.engaged else State.SPINNING


def is_unsure(chain: "Chain") -> bool:
    """Whether the verdict of this moment is to be taken with care."""
    touching, judge = chain.book.touching, chain.judge
    doubtful_speed = touching and speed_is_doubtful(chain)
    blind = touching and not chain.background.has_spectrum
    return (
        chain.health.clipped
        or chain.speed.contradicted
        or doubtful_speed
        or blind
        or chain.shape.doubling
        or (judge.span is None and judge.evidence > UNSURE_SHARE * judge.alarm)
    )


def speed_is_doubtful(chain: "Chain") -> bool:
    """Whether the speed that is followed may be another one."""
    return chain.speed.confidence < DOUBTFUL_SPEED or bool(chain.speed.rivals_hz)


def in_quiet_metal(chain: "Chain", view: View) -> bool:
    """Whether the whole window was heard in metal, without chatter, at a speed beyond doubt."""
    if not chain.book.touching or chain.judge.span is not None or not view.full:
        return False
    doubt = chain.health.clipped or chain.speed.contradicted or speed_is_doubtful(chain)
    return not doubt and chain.since_contact_s(view.sample) >= chain.front.window.duration_s
