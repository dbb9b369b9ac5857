"""Invented programs: three to twelve tools that face, pocket, slot, contour, drill and chamfer."""

from dataclasses import dataclass

import numpy as np

SPEEDS = (3200, 4500, 6000, 7500, 8000, 9000, 10000, 12000, 14000, 16000, 18000)


@dataclass(frozen=True)
class Op:
    """What the machine is told: a move to a place, a dwell, a stop, a tool or a speed.

    `metal` says whether a feed move is in metal.
    """

    kind: str
    place: tuple[float, float, float] | None = None
    feed: float = 0.0
    metal: bool = False
    value: float = 0.0
    arc: tuple[float, float] | None = None


class Part:
    """A program as the machine runs it (`ops`) and as it is written (`text`)."""

    def __init__(self, seed: int):
        self.rng = np.random.default_rng(seed)
        self.ops: list[Op] = []
        self.text: list[str] = ["%", f"O{seed % 9000 + 1000} (INVENTED)", "G21 G90 G17 G40 G80 G94"]
        self.at = (0.0, 0.0, 50.0)
        self._write()
        self.text += ["M5", "M30", "%"]

    def _write(self) -> None:
        rng = self.rng
        count = int(rng.integers(3, 13))
        tools = list(rng.permutation(np.arange(1, 25))[:count])
        if count > 4 and rng.random() < 0.35:  # one of them comes back later
            tools.insert(int(rng.integers(3, len(tools))), tools[0])
        rpm = float(rng.choice(SPEEDS))
        for tool in tools:
            if rng.random() > 0.3:  # three in ten turn as fast as the one before
                rpm = float(rng.choice(SPEEDS))
            self._tool(int(tool), rpm)
            kinds = rng.choice(
                ["face", "pocket", "slots", "contour", "drill", "chamfer"], int(rng.integers(1, 3))
            )
            for kind in kinds:
                getattr(self, f"_{kind}")(float(rng.uniform(400, 2400)))
            if rng.random() < 0.15:
                rpm = float(rng.choice([speed for speed in SPEEDS if speed != rpm]))
                self._speed(rpm)
                self._contour(float(rng.uniform(400, 1500)))
            self._rapid(z=50.0)

    def _tool(self, tool: int, rpm: float) -> None:
        self.text += ["M5", f"T{tool} M6", f"S{rpm:.0f} M3"]
        self.ops += [Op("tool", value=tool), Op("speed", value=rpm)]
        self._rapid(0.0, 0.0, 50.0)

    def _speed(self, rpm: float) -> None:
        self._rapid(z=20.0)
        self.text.append(f"S{rpm:.0f} M3")
        self.ops.append(Op("speed", value=rpm))

    def _rapid(self, x=None, y=None, z=None) -> None:
        self._go("G0", x, y, z)
        self.ops.append(Op("rapid", self.at))

    def _feed(self, feed, x=None, y=None, z=None, metal=True) -> None:
        self._go("G1", x, y, z, f" F{feed:.1f}")
        self.ops.append(Op("feed", self.at, feed, metal))

    def _go(self, code, x, y, z, more="") -> None:
        place = [now if new is None else float(new) for now, new in zip(self.at, (x, y, z), strict=True)]
        self.at = tuple(round(value, 3) for value in place)
        self.text.append(f"{code} X{self.at[0]:.3f} Y{self.at[1]:.3f} Z{self.at[2]:.3f}{more}")

    def _pause(self) -> None:
        if self.rng.random() < 0.2:
            seconds = round(float(self.rng.uniform(0.5, 4)), 1)
            self.text.append(f"G4 P{seconds:.1f}")
            self.ops.append(Op("dwell", value=seconds))

    def _face(self, feed: float) -> None:
        width, passes = self.rng.uniform(60, 140), int(self.rng.integers(3, 8))
        self._rapid(-12, 0, 2)
        self._feed(feed / 2, z=-1, metal=False)
        for k in range(passes):
            here, there = (-12, width + 12) if k % 2 == 0 else (width + 12, -12)
            inner = (0, width) if k % 2 == 0 else (width, 0)
            self._feed(feed, x=inner[0], metal=False)
            self._feed(feed, x=inner[1])
            self._feed(feed, x=there, metal=False)
            self._feed(feed, y=8.0 * (k + 1), metal=False)
            assert here != there
        self._rapid(z=5)

    def _pocket(self, feed: float) -> None:
        size, depth = self.rng.uniform(15, 45), int(self.rng.integers(2, 5))
        self._rapid(20, 20, 2)
        for level in range(depth):
            self._feed(feed / 3, z=-1.5 * (level + 1))
            for k in range(int(size / 4)):
                self._feed(feed, x=20 + (size if k % 2 == 0 else 0))
                self._feed(feed, y=20 + 4.0 * (k + 1))
            # the way back is over cut ground
            self._feed(feed, x=20, y=20, metal=self.rng.random() < 0.5)
        self._rapid(z=5)
        self._pause()

    def _slots(self, feed: float) -> None:
        length = self.rng.uniform(10, 50)
        for k in range(int(self.rng.integers(4, 12))):
            self._rapid(10.0 * k, 0, 2)
            self._feed(feed / 3, z=-1.5)
            self._feed(feed, y=length)
            self._rapid(z=3)

    def _contour(self, feed: float) -> None:
        rng = self.rng
        corners = int(rng.integers(6, 60))
        angles = np.linspace(0, 2 * np.pi, corners)
        radius = rng.uniform(15, 45)
        for level in range(int(rng.integers(1, 5))):
            self._rapid(60 + radius, 60, 2)
            self._feed(feed / 3, z=-1.0 * (level + 1), metal=False)
            for angle in angles:
                around = radius * rng.uniform(0.85, 1.15)
                self._feed(feed, x=60 + around * np.cos(angle), y=60 + around * np.sin(angle))
        self._rapid(z=5)

    def _chamfer(self, feed: float) -> None:
        x, y = self.rng.uniform(40, 120, 2)
        self._rapid(-3, -3, 2)
        self._feed(feed, z=-0.5, metal=False)
        for place in ((x, -3), (x, y), (-3, y), (-3, -3)):
            self._feed(feed, x=place[0], y=place[1])
        self._rapid(z=5)

    def _drill(self, feed: float) -> None:
        feed, depth, peck = feed / 6, self.rng.uniform(6, 20), self.rng.uniform(2, 6)
        self._rapid(0, 0, 5)
        for k in range(int(self.rng.integers(4, 20))):
            place = (12.0 * (k % 5), 12.0 * (k // 5))
            self.text.append(
                f"G99 G83 X{place[0]:.3f} Y{place[1]:.3f} Z{-depth:.3f} R1. Q{peck:.3f} F{feed:.1f}"
            )
            self._hole(place, feed, depth, peck)
        self.text.append("G80")

    def _hole(self, place, feed, depth, peck) -> None:
        down = 0.0
        self.ops += [Op("rapid", (*place, self.at[2])), Op("rapid", (*place, 1.0))]
        while down < depth:
            top, down = -down, min(down + peck, depth)
            if top < 0:
                self.ops.append(Op("rapid", (*place, top + 0.254)))
                self.ops.append(Op("feed", (*place, top), feed))
            else:
                self.ops.append(Op("feed", (*place, 0.0), feed))
            self.ops.append(Op("feed", (*place, -down), feed, metal=True))
            self.ops.append(Op("rapid", (*place, 1.0)))
        self.at = (*place, 1.0)
