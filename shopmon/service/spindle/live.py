"""The guided spindle check on the command line: listens to a source of its own, one speed after the other."""

import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from shopmon.errors import DeviceError, SettingError
from shopmon.service.settings import load_settings
from shopmon.service.spindle.balance import CAUTIONS as BALANCE_CAUTIONS
from shopmon.service.spindle.balance import TrialWeight, balance_of
from shopmon.service.spindle.desk import speeds_from
from shopmon.service.spindle.one_run import CAUTIONS, tones_from_text
from shopmon.service.spindle.session import CheckPlan, SpindleSession
from shopmon.service.start import make_source
from shopmon.signals.block import Block

WAIT_S = 0.05


def plan_of(
    speeds: str | None,
    run_up: bool,
    bearing: str | None,
    column: str | None,
    full_scale: float | None,
    unit: str | None,
) -> CheckPlan:
    """Return what is to be run, from what was typed.

    Raises
    ------
    SettingError
        A value that cannot be.
    """
    if (full_scale is None) != (unit is None):
        raise SettingError(
            "--full-scale and --unit belong together.", "Give both, such as --full-scale 16 --unit g."
        )
    if column is not None and not (column.isdigit() and int(column) > 0):
        raise SettingError("--column of a live check is a number.", "Count the channels from 1.")
    found = speeds_from(speeds)
    return CheckPlan(
        speeds_rpm=found,
        run_up_rpm=(found[0], found[-1]) if run_up else None,
        channel=int(column or 1) - 1,
        per_full_scale=full_scale or 1.0,
        unit=unit or "FS",
        tones=tones_from_text(bearing) if bearing else None,
    )


@dataclass(frozen=True, kw_only=True)
class Sitting:
    """One person at the spindle, and the sensor that is listened to.

    Attributes
    ----------
    source, device, settings_file
        As for ``shopmon listen``.
    tell
        Says something to the person.
    ready
        Asks for the next speed, and returns when the person says that it turns (or, in a run-up, is reached).
    """

    source: str
    device: str | None
    settings_file: Path | None
    tell: Callable[[str], None]
    ready: Callable[[str], None]


def hear_check(plan: CheckPlan, sitting: Sitting) -> dict[str, Any]:
    """Run a check, cautions first; return ``shopmon.spindle-check/1``.

    Parameters
    ----------
    plan
        What is to be run.
    sitting
        Who is asked, and what is heard.

    Raises
    ------
    ShopmonError
        The sensor is lost, or a run cannot be judged.
    """
    tell, ready = sitting.tell, sitting.ready
    for caution in CAUTIONS:
        tell(f"  ! {caution}")
    settings = load_settings(sitting.settings_file)
    if plan.speeds_rpm[-1] > settings.machine.max_rpm:
        raise SettingError(f"{plan.speeds_rpm[-1]:.0f} rpm is above the machine's highest.", "Leave it out.")
    session, stop = SpindleSession(plan), threading.Event()
    opened = make_source(sitting.source, sitting.device, settings)
    # what comes while the person sets the speed must not be taken for the run
    ear = threading.Thread(target=_listen, args=(opened, session, stop), name="spindle-check", daemon=True)
    ear.start()
    try:
        while session.next_rpm is not None or session.wants_run_up:
            rising = session.wants_run_up
            ready(session.said)
            session.begin()
            if rising:
                ready(session.said)
                session.end()
            else:
                tell(session.said)
            while session.status in ("recording", "judging"):
                if not ear.is_alive():
                    raise DeviceError("The sensor gives nothing any more.", "Plug it in, then begin again.")
                stop.wait(WAIT_S)
            if session.error is not None:
                raise session.error
    finally:
        stop.set()
        ear.join(2.0)
        opened.close()
    tell(session.said)
    return session.result()


def hear_balance(
    plan: CheckPlan, trial: TrialWeight, mass_kg: float | None, sitting: Sitting
) -> dict[str, Any]:
    """Run once without and once with a trial weight; return the first check, ``balance`` filled in.

    Parameters
    ----------
    plan
        Of one steady speed, no run-up.
    trial
        The weight.
    mass_kg
        Of all that turns, None where it is not known.
    sitting
        As for `hear_check`.

    Raises
    ------
    ShopmonError
        As `hear_check`; or there is no tachometer, or the trial weight changed nothing.
    """
    if len(plan.speeds_rpm) != 1 or plan.run_up_rpm:
        raise SettingError("A trial weight is for one speed.", "Give one of --speeds, without --run-up.")
    for caution in BALANCE_CAUTIONS:
        sitting.tell(f"  ! {caution}")
    before = hear_check(plan, sitting)
    if not before["steps"][0]["once"]:
        raise SettingError(
            "There was no phase in this run: no tachometer, or not one clean pulse a turn.",
            "Balance needs a tachometer with one mark on the shaft; see 'Tachometer' in the README.",
        )
    sitting.ready(
        f"Stop the spindle and keep it from starting. Screw in {trial.mass_g:g} g at {trial.radius_mm:g} mm, "
        f"{trial.angle_deg:g}° from the mark, against the direction of rotation. Shut the guards."
    )
    with_trial = hear_check(plan, sitting)
    told = balance_of(before["steps"][0], with_trial["steps"][0], trial, mass_kg=mass_kg)
    return {**before, "balance": told}


def _listen(source, session: SpindleSession, stop: threading.Event) -> None:
    for item in source.blocks(stop):
        if isinstance(item, Block):
            session.take(item)
        elif item.code == "device-lost":
            return
