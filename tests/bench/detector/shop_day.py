"""False alarms per hour of cutting over hours in the shop, at several settings."""

import json
import time
from dataclasses import fields

import numpy as np

from shopmon.listening.events import ChatterStarted
from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings, Setup
from tests.bench.detector import shop_floor
from tests.bench.detector.hearing import Kept, engine_fingerprint
from tests.bench.detector.scoring import length_s, poisson_bound
from tests.listening.synthetic import blocks

RATE_SETTING = "false_alarms_per_hour"
BLOCK = 4800


def settings_of(rates):
    """Listener settings for rates of false alarms per hour; the default where none is asked for or known."""
    known = {field.name for field in fields(ListenerSettings)}
    if RATE_SETTING not in known or not rates:
        return {"default": {}}
    return {f"{rate:g} an hour": {RATE_SETTING: rate} for rate in rates}


def heard_hour(number, settings, seconds):
    """Let one listener per setting hear an hour; returns a row of plain data.

    A stretch is a job of its own: speed and flutes are told at its beginning.
    """
    ears = {
        label: Listener(ListenerSettings(**given), shop_floor.RATE_HZ, 1) for label, given in settings.items()
    }
    alarms = {label: [] for label in settings}
    at, cut_s, border_s, heard_s = 0, 0.0, 0.0, 0.0
    for index, stretch in enumerate(shop_floor.hour(number, seconds)):
        told = Setup(nominal_rpm=stretch.told_rpm, flutes=stretch.told_flutes, job=str(index))
        pieces = list(blocks(stretch.samples, BLOCK, rate_hz=shop_floor.RATE_HZ, first_sample=at))
        for label, ear in ears.items():
            ear.change_setup(told, at)
            events = [event for piece in pieces for event in ear.feed(piece)]
            alarms[label] += [
                placed(event, at, stretch) for event in events if isinstance(event, ChatterStarted)
            ]
        at += stretch.samples.size
        cut_s += length_s(stretch.engaged) * (not stretch.marginal)
        border_s += length_s(stretch.engaged) * stretch.marginal
        heard_s += stretch.samples.size / shop_floor.RATE_HZ
    return {
        "number": number,
        "heard_s": round(heard_s, 1),
        "cut_s": round(cut_s, 1),
        "border_s": round(border_s, 1),
        "alarms": alarms,
    }


def placed(event, first_sample, stretch):
    """One false alarm: where in its stretch, whether in metal, at which frequency, what else was heard."""
    time_s = (event.sample - first_sample) / shop_floor.RATE_HZ
    return {
        "at_s": round(time_s, 2),
        "in_metal": any(start <= time_s <= end + 0.5 for start, end in stretch.engaged),
        "frequency_hz": round(event.chatter.frequency_hz, 1),
        "told_rpm": stretch.told_rpm,
        "kinds": list(stretch.kinds),
        "restless": round(stretch.restless, 3),
        "marginal": stretch.marginal,
    }


def shop_day(hours=30.0, rates=(), first=0, keep=None):
    """Hear so many hours and print the rates.

    Parameters
    ----------
    hours
        How many; the last may be a part of one.
    rates
        Settings, false alarms per hour of cutting that the person accepts.
    first
        Number of the first hour.
    keep
        A folder in which hours heard before by the same engine are found again.
    """
    settings = settings_of(rates)
    rows, begin = [], time.monotonic()
    kept = None if keep is None else Kept(keep / f"shop-{engine_fingerprint()}-{'-'.join(settings)}.jsonl")
    for number in range(first, first + int(np.ceil(hours))):
        seconds = 3600.0 * min(1.0, first + hours - number)
        if kept is not None and number in kept.rows:
            rows.append(kept.rows[number])
        else:
            rows.append(heard_hour(number, settings, seconds))
            if kept is not None and seconds == 3600.0:
                kept.add(rows[-1])
        print(progress(rows, time.monotonic() - begin), flush=True)
    report(rows, settings)


def progress(rows, spent_s):
    """One line after each hour."""
    counts = {label: len(found) for label, found in rows[-1]["alarms"].items()}
    row = rows[-1]
    return (
        f"hour {row['number']}: {row['cut_s'] / 60:.0f} min cutting, false alarms {counts}, {spent_s:.0f} s"
    )


def report(rows, settings):
    """Print the rates with their bounds, and every false alarm."""
    heard_h = sum(row["heard_s"] for row in rows) / 3600
    cut_h = sum(row["cut_s"] for row in rows) / 3600
    border_h = sum(row["border_s"] for row in rows) / 3600
    print(f"\n{heard_h:.1f} h in the shop, {cut_h:.1f} h of stable cutting at 10 to 28 dB")
    for label in settings:
        found = [alarm for row in rows for alarm in row["alarms"][label]]
        near = sum(alarm["marginal"] for alarm in found)
        count = len(found) - near
        low, high = (bound / cut_h for bound in poisson_bound(count))
        print(
            f"  {label:16s} {count:4d} false alarms: {count / cut_h:.3f} per hour of cutting "
            f"[{low:.3f}-{high:.3f}], {8 * count / cut_h:.2f} in 8 h; {near} more in {border_h:.1f} h "
            "of passes whose motion comes within a factor of two of chatter"
        )
    for row in rows:
        for label, found in row["alarms"].items():
            for alarm in found:
                print(f"    hour {row['number']} {label}: {json.dumps(alarm)}")
