"""An invented machine with a limit of acceleration on each axis, and a person who works it for a shift.

It runs the moves of a part (not the text that the monitor reads) and owes nothing to the reader's timing.
"""

from dataclasses import dataclass, field

import numpy as np

from tests.bench.following.parts import Op, Part


@dataclass
class Stretch:
    """What the machine did: `tool` turning at `rpm` (0 when it stood), in metal or not."""

    start_s: float
    end_s: float
    tool: int
    rpm: float
    metal: bool


@dataclass
class Shift:
    """A shift being worked."""

    rng: np.random.Generator
    now_s: float = 0.0
    tool: int = 0
    rpm: float = 0.0
    stretches: list[Stretch] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def spend(self, seconds: float, metal: bool = False, rpm: float | None = None) -> None:
        """Let time go by."""
        if seconds > 0:
            rpm = self.rpm if rpm is None else rpm
            self.stretches.append(Stretch(self.now_s, self.now_s + seconds, self.tool, rpm, metal))
            self.now_s += seconds


class Machine:
    """Rates, accelerations and habits of one machine and its person."""

    def __init__(self, rng: np.random.Generator):
        self.rapid_mm_s = float(rng.uniform(3000, 12000)) / 60
        self.by_hand = rng.random() < 0.6
        self.slowed = float(rng.uniform(0.1, 0.6))
        self.axes = rng.uniform(0.5, 1.5, 3)  # the axes are not alike
        self.override = float(rng.uniform(0.6, 1.2))
        self.rng = rng

    def durations(self, ops: list[Op], at: tuple) -> list[float]:
        """Return seconds of each op at full override: length over feed, and what corners cost.

        The velocity must turn from one move to the next; each axis needs its change over its acceleration,
        and the path loses half of the longest. The accelerations are chosen so that the feed of these moves
        is slowed by this machine's share, as far as 60 mm/s² allows.
        """
        times, lost = [], []
        velocity = np.zeros(3)
        for op in ops:
            if op.kind not in ("feed", "rapid"):
                times.append(op.value if op.kind == "dwell" else 0.0)
                lost.append(0.0)
                velocity = np.zeros(3)
                continue
            way = np.subtract(op.place, at)
            length, at = float(np.linalg.norm(way)), op.place
            speed = op.feed / 60 if op.kind == "feed" else self.rapid_mm_s
            goal = way / length * speed if length else velocity
            times.append(length / speed)
            lost.append(0.5 * float(np.max(np.abs(goal - velocity) / self.axes)))
            velocity = goal
        fed = [k for k, op in enumerate(ops) if op.kind == "feed"]
        steady, costs = sum(times[k] for k in fed), sum(lost[k] for k in fed)
        share = min(self.slowed * steady / costs, 1 / 60) if costs else 0.0
        return [time + share * more for time, more in zip(times, lost, strict=True)]


def sections_of(part: Part) -> list[list[Op]]:
    """Divide the moves at tools and speeds, the tool and the speed first in each."""
    found: list[list[Op]] = []
    for op in part.ops:
        if op.kind == "tool" or (op.kind == "speed" and found and any(o.kind == "feed" for o in found[-1])):
            found.append([])
        found[-1].append(op)
    return found


class Person:
    """Works one part after another, with what comes between."""

    def __init__(self, seed: int, part: Part):
        self.rng = np.random.default_rng([seed, 77])
        self.machine = Machine(self.rng)
        self.part = part
        self.shift = Shift(self.rng)
        self.events = {
            name: self.rng.random() < chance
            for name, chance in (("pause", 0.6), ("repeat", 0.3), ("twice", 0.35), ("abort", 0.3))
        }

    def work(self) -> Shift:
        """Run the program, sometimes twice."""
        self.shift.spend(self.rng.uniform(5, 40), rpm=0)
        sections = sections_of(self.part)
        if self.events["abort"] and len(sections) > 1:
            last = int(self.rng.integers(0, len(sections)))
            self._run(sections[: last + 1], broken_off=True)
            self.shift.told.append(f"broken off in section {last + 1}")
            self.shift.spend(self.rng.uniform(15, 90), rpm=0)
            sections = sections if self.rng.random() < 0.5 else sections[last:]
            if sections[0][0].kind != "tool":  # begin again with the tool, as a control would ask
                sections = sections_of(self.part)
        self._run(sections)
        self.shift.spend(self.rng.uniform(10, 40), rpm=0)
        return self.shift

    def _run(self, sections: list[list[Op]], broken_off: bool = False) -> None:
        rng = self.rng
        again = int(rng.integers(0, len(sections))) if self.events["repeat"] and not broken_off else None
        for number, ops in enumerate(sections):
            share = float(rng.uniform(0.1, 0.9)) if broken_off and number == len(sections) - 1 else 1.0
            self._section(ops, share)
            if number == again:
                self.shift.told.append("a section repeated")
                self.shift.spend(rng.uniform(5, 40), rpm=0)
                self._section(ops, 1.0, again=True)

    def _section(self, ops: list[Op], share: float, again: bool = False) -> None:
        shift, rng = self.shift, self.rng
        moves = [op for op in ops if op.kind not in ("tool", "speed")]
        tool = next((op for op in ops if op.kind == "tool"), None)
        rpm = next(op.value for op in ops if op.kind == "speed")
        if tool and not again:
            self._change_tool(int(tool.value), rpm)
        self._spin_to(rpm)
        times = self.machine.durations(moves, (0.0, 0.0, 50.0))
        pause_at = int(rng.integers(0, len(moves))) if self.events["pause"] and rng.random() < 0.4 else None
        for number, (op, seconds) in enumerate(zip(moves, times, strict=True)):
            if number >= share * len(moves):
                break
            if rng.random() < 0.004:
                self.machine.override = float(rng.uniform(0.6, 1.2))
            feed = self.machine.override if op.kind == "feed" else 1.0
            shift.spend(seconds / feed, metal=op.metal)
            if number == pause_at:
                shift.told.append("a pause")
                shift.spend(rng.uniform(4, 60), rpm=None if rng.random() < 0.6 else 0)

    def _change_tool(self, tool: int, rpm: float) -> None:
        shift, rng = self.shift, self.rng
        seconds = rng.uniform(15, 90) if self.machine.by_hand else rng.uniform(4, 9)
        shift.spend(seconds, rpm=0)
        if self.events["twice"] and rng.random() < 0.4:
            shift.told.append("a tool changed twice")
            self._spin_to(rpm)
            shift.spend(rng.uniform(2, 12))
            shift.spend(rng.uniform(8, 60), rpm=0)
        shift.tool = tool

    def _spin_to(self, rpm: float) -> None:
        self.shift.rpm = rpm
        self.shift.spend(self.rng.uniform(0.5, 3))
