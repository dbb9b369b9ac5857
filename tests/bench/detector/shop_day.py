"""False alarms per hour of cutting over hours in the shop, at several settings."""

import json
import time

import numpy as np

from shopmon.listening.chatter.verdict import ChatterJudge
from shopmon.listening.events import ChatterStarted
from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings, Setup
from tests.bench.detector import shop_floor
from tests.bench.detector.hearing import Kept, engine_fingerprint
from tests.bench.detector.scoring import length_s, poisson_bound
from tests.listening.synthetic import blocks

BLOCK = 4800


DEFAULT = "default"


class Beside:
    """A judge that is heeded, and others with other wishes that hear the same and are only counted.

    One listener a wish would cost as much again for each. What differs: the others do not bring about a cut
    by ringing alone, nor keep the background from learning.

    Parameters
    ----------
    heeded
        The listener's own judge.
    rates
        False alarms an hour that the others accept.
    """

    def __init__(self, heeded, rates):
        self._heeded = heeded
        self._others = {f"{rate:g} an hour": ChatterJudge(rate) for rate in rates}
        self.raised = {label: [] for label in (DEFAULT, *self._others)}

    def __getattr__(self, name):
        return getattr(self._heeded, name)

    def weigh(self, *given):
        """Let all weigh a hop."""
        for judge in (self._heeded, *self._others.values()):
            judge.weigh(*given)

    def decide(self, *given):
        """Let all decide, and count the others' alarms."""
        for label, judge in self._others.items():
            self._count(label, judge.decide(*given))
        return self._count(DEFAULT, self._heeded.decide(*given))

    def _count(self, label, events):
        self.raised[label] += [event for event in events if isinstance(event, ChatterStarted)]
        return events

    def end(self, *given):
        """The engagement is over for all."""
        for judge in self._others.values():
            judge.end(*given)
        return self._heeded.end(*given)

    def clear(self):
        """Let all forget."""
        for judge in (self._heeded, *self._others.values()):
            judge.clear()


def heard_hour(number, rates, seconds):
    """Hear an hour; returns a row of plain data, with the alarms at the default setting and at each rate.

    A stretch is a job of its own: speed and flutes are told at its beginning.
    """
    ear = Listener(ListenerSettings(), shop_floor.RATE_HZ, 1)
    ear.chain.judge = beside = Beside(ear.chain.judge, rates)
    alarms = {label: [] for label in beside.raised}
    at, cut_s, border_s, heard_s = 0, 0.0, 0.0, 0.0
    for index, stretch in enumerate(shop_floor.hour(number, seconds)):
        told = Setup(nominal_rpm=stretch.told_rpm, flutes=stretch.told_flutes, job=str(index))
        ear.change_setup(told, at)
        for piece in blocks(stretch.samples, BLOCK, rate_hz=shop_floor.RATE_HZ, first_sample=at):
            ear.feed(piece)
        for label, raised in beside.raised.items():
            alarms[label] += [placed(event, at, stretch) for event in raised]
            raised.clear()
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
        Further settings, false alarms per hour of cutting that the person accepts.
    first
        Number of the first hour.
    keep
        A folder in which hours heard before by the same engine are found again.
    """
    labels = [DEFAULT, *(f"{rate:g} an hour" for rate in rates)]
    rows, begin = [], time.monotonic()
    kept = None if keep is None else Kept(keep / f"shop-{engine_fingerprint()}-{'-'.join(labels)}.jsonl")
    for number in range(first, first + int(np.ceil(hours))):
        seconds = 3600.0 * min(1.0, first + hours - number)
        if kept is not None and number in kept.rows:
            rows.append(kept.rows[number])
        else:
            rows.append(heard_hour(number, rates, seconds))
            if kept is not None and seconds == 3600.0:
                kept.add(rows[-1])
        print(progress(rows, time.monotonic() - begin), flush=True)
    report(rows, labels)


def progress(rows, spent_s):
    """One line after each hour."""
    counts = {label: len(found) for label, found in rows[-1]["alarms"].items()}
    row = rows[-1]
    return (
        f"hour {row['number']}: {row['cut_s'] / 60:.0f} min cutting, false alarms {counts}, {spent_s:.0f} s"
    )


def report(rows, labels):
    """Print the rates with their bounds, and every false alarm."""
    heard_h = sum(row["heard_s"] for row in rows) / 3600
    cut_h = sum(row["cut_s"] for row in rows) / 3600
    border_h = sum(row["border_s"] for row in rows) / 3600
    print(f"\n{heard_h:.1f} h in the shop, {cut_h:.1f} h of stable cutting at 10 to 28 dB")
    for label in labels:
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
